/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/model.h"

#include "base/array.h"
#include "base/note.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_eigen.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    AT_S = MODEL_SPLINES,
    AT_D = AT_S + HARMONICS,
    AT_A = AT_D + HARMONICS,
    AT_E = AT_A + HARMONICS,
    AT_C = AT_E + HARMONICS
};
enum { FRAMES_MOST = 8000 }; /* frames used by the M-step: more tell no more of 116 numbers */
static const double RHO = 0.9;
static const double edge_s = 0.020;
static const double student_df = 8;
static const double free_gain_db2 = 1e4;

model_settings model_defaults(void)
{
    return (model_settings){.smooth = 1,
                            .ridge_s = 1e-4,
                            .ridge_d = 1e-2,
                            .ridge_a = 4,
                            .ridge_e = 100,
                            .ridge_c = 10,
                            .shrink = 0.25,
                            .floor_db = 1};
}

static double warp(double hz)
{
    return log2(1 + hz / 300);
}

/* The four cubic B-splines that are not zero at x, and the index of the first. */
static int splines(const model *m, double hz, double w[4])
{
    double u = (warp(hz) - m->lo) / (m->hi - m->lo) * (MODEL_SPLINES - 3);
    u = fmin(fmax(u, 0), MODEL_SPLINES - 3 - 1e-9);
    int first = (int)u;
    double x = u - first, y = 1 - x;
    w[0] = y * y * y / 6;
    w[1] = (3 * x * x * x - 6 * x * x + 4) / 6;
    w[2] = (3 * y * y * y - 6 * y * y + 4) / 6;
    w[3] = x * x * x / 6;
    return first;
}

typedef struct row { /* one harmonic of one frame in the regression */
    int first;       /* spline index */
    double w[4];     /* their values */
    int h;
    double level, pitch;
} row;

static row row_of(const model *m, const evidence *ev, size_t i, int h)
{
    row r = {.h = h, .level = ev->level_db[i], .pitch = ev->pitch_st[i] - m->pitch_mid};
    r.first = splines(m, (h + 1) * note_to_hz(ev->pitch_st[i]), r.w);
    return r;
}

/* Common part of the prediction, and the part that s multiplies. */
static double common(const model *m, const row *r)
{
    double y = 0;
    for (int k = 0; k < 4; k++)
        y += r->w[k] * m->beta[r->first + k];
    return y + m->beta[AT_S + r->h] + m->beta[AT_A + r->h] * r->level +
           m->beta[AT_C + r->h] * r->pitch;
}

static double step(const model *m, const row *r)
{
    return m->beta[AT_D + r->h] + m->beta[AT_E + r->h] * r->level;
}

typedef struct normal { /* the normal equations, lower triangle */
    double a[MODEL_SIZE * MODEL_SIZE], b[MODEL_SIZE];
} normal;

/* Entries of one row of the regression: those that do not depend on s, then those that s multiplies. */
enum { PLAIN = 7, TIMES_S = 2, ENTRIES = PLAIN + TIMES_S };

typedef struct sparse {
    int n, at[2 * ENTRIES];
    double v[2 * ENTRIES];
} sparse;

static void put(sparse *x, int at, double v)
{
    x->at[x->n] = at;
    x->v[x->n++] = v;
}

/* Adds scale * (plain part + s * part that s multiplies) of a row. */
static void put_row(sparse *x, const row *r, double scale, double s)
{
    for (int k = 0; k < 4; k++)
        put(x, r->first + k, scale * r->w[k]);
    put(x, AT_S + r->h, scale);
    put(x, AT_A + r->h, scale * r->level);
    put(x, AT_C + r->h, scale * r->pitch);
    put(x, AT_D + r->h, scale * s);
    put(x, AT_E + r->h, scale * s * r->level);
}

static void put_s(sparse *x, const row *r, double scale)
{
    put(x, AT_D + r->h, scale);
    put(x, AT_E + r->h, scale * r->level);
}

/* Lower triangle: a += weight x x'. */
static void add_outer(double *a, const sparse *x, double weight)
{
    for (int p = 0; p < x->n; p++)
        for (int q = 0; q < x->n; q++)
            if (x->at[q] <= x->at[p])
                a[x->at[p] * MODEL_SIZE + x->at[q]] += weight * x->v[p] * x->v[q];
}

/* Lower triangle: a -= weight v v', v zero before `first`. */
static void subtract_outer(double *a, const double v[MODEL_SIZE], double weight, int first)
{
    for (int p = first; p < MODEL_SIZE; p++) {
        double *restrict line = a + p * MODEL_SIZE, vp = weight * v[p];
        if (vp != 0)
            for (int q = first; q <= p; q++)
                line[q] -= vp * v[q];
    }
}

static void spread(double v[MODEL_SIZE], const sparse *x, double weight)
{
    for (int k = 0; k < x->n; k++)
        v[x->at[k]] += weight * x->v[k];
}

/* Adds frame i less RHO times the frame LAG before it: what drifts slowly is all but gone from the
 * difference, a step is not. The gain is taken out by centring; s enters by its mean and, for its
 * doubt, its standard deviation (frames so near are in doubt together). */
static void add_frame(normal *eq, const model *m, const evidence *ev, size_t i, const double *p2)
{
    size_t j = ev->before[i];
    bool pair = j != EVIDENCE_NONE;
    double rho = pair ? RHO : 0, si = p2[i] - 0.5, sj = pair ? p2[j] - 0.5 : 0;
    double di = sqrt(fmax(0, 0.25 - si * si)), dj = pair ? sqrt(fmax(0, 0.25 - sj * sj)) : 0;
    double mean[MODEL_SIZE] = {0}, doubt[MODEL_SIZE] = {0}, sum_w = 0, sum_y = 0;
    for (int h = 0; h < HARMONICS; h++) {
        double y = ev->y_db[i][h] - (pair ? rho * ev->y_db[j][h] : 0);
        if (isnan(y))
            continue;
        double noise = ev->var[i][h] + (pair ? rho * rho * ev->var[j][h] : 0);
        double w = (pair ? 1 : 1 - RHO * RHO) / (m->sigma[h * HARMONICS + h] + noise);
        row ri = row_of(m, ev, i, h), rj = pair ? row_of(m, ev, j, h) : ri;
        sparse x = {.n = 0}, d = {.n = 0};
        put_row(&x, &ri, 1, si);
        put_s(&d, &ri, di);
        if (pair) {
            put_row(&x, &rj, -rho, sj);
            put_s(&d, &rj, -rho * dj);
        }
        add_outer(eq->a, &x, w);
        add_outer(eq->a, &d, w);
        spread(eq->b, &x, w * y);
        spread(mean, &x, w);
        spread(doubt, &d, w);
        sum_w += w;
        sum_y += w * y;
    }
    if (sum_w <= 0)
        return;
    for (int k = 0; k < MODEL_SIZE; k++)
        eq->b[k] -= mean[k] * sum_y / sum_w;
    subtract_outer(eq->a, mean, 1 / sum_w, 0);
    subtract_outer(eq->a, doubt, 1 / sum_w, AT_D);
}

static void add_ridge(normal *eq, int first, int n, double weight)
{
    for (int k = first; k < first + n; k++)
        eq->a[k * MODEL_SIZE + k] += weight;
}

/* Squared second differences of n coefficients from `first`. */
static void add_smooth(normal *eq, int first, int n, double weight)
{
    static const double d[3] = {1, -2, 1};
    for (int k = first; k + 2 < first + n; k++)
        for (int p = 0; p < 3; p++)
            for (int q = 0; q < 3; q++)
                eq->a[(k + p) * MODEL_SIZE + k + q] += weight * d[p] * d[q];
}

static void add_priors(normal *eq, const model_settings *s)
{
    add_smooth(eq, 0, MODEL_SPLINES, s->smooth);
    add_ridge(eq, 0, MODEL_SPLINES, 1e-4);
    add_ridge(eq, AT_S, HARMONICS, s->ridge_s);
    add_ridge(eq, AT_D, HARMONICS, s->ridge_d);
    add_smooth(eq, AT_D, HARMONICS, s->ridge_d);
    add_ridge(eq, AT_A, HARMONICS, s->ridge_a);
    add_smooth(eq, AT_A, HARMONICS, s->ridge_a);
    add_ridge(eq, AT_E, HARMONICS, s->ridge_e);
    add_smooth(eq, AT_E, HARMONICS, s->ridge_e);
    add_ridge(eq, AT_C, HARMONICS, s->ridge_c);
    add_smooth(eq, AT_C, HARMONICS, s->ridge_c);
}

static bool solve(normal *eq, double beta[MODEL_SIZE])
{
    gsl_matrix_view a = gsl_matrix_view_array(eq->a, MODEL_SIZE, MODEL_SIZE);
    gsl_vector_view b = gsl_vector_view_array(eq->b, MODEL_SIZE);
    gsl_vector_view x = gsl_vector_view_array(beta, MODEL_SIZE);
    return gsl_linalg_cholesky_decomp1(&a.matrix) == GSL_SUCCESS &&
           gsl_linalg_cholesky_solve(&a.matrix, &b.vector, &x.vector) == GSL_SUCCESS;
}

static bool usable(const evidence *ev, size_t i)
{
    return ev->edge_s[i] >= edge_s;
}

/* Residuals of a frame about the prediction at s, the gain taken out. */
static int residual(const model *m, const evidence *ev, size_t i, double s, double r[HARMONICS])
{
    double sum = 0, weight = 0;
    int n = 0;
    for (int h = 0; h < HARMONICS; h++) {
        r[h] = (double)NAN;
        if (isnan(ev->y_db[i][h]))
            continue;
        row x = row_of(m, ev, i, h);
        double w = 1 / (m->sigma[h * HARMONICS + h] + ev->var[i][h]);
        r[h] = ev->y_db[i][h] - common(m, &x) - s * step(m, &x);
        sum += w * r[h];
        weight += w;
        n++;
    }
    for (int h = 0; h < HARMONICS && n; h++)
        r[h] -= sum / weight;
    return n;
}

/* Sums of products of residuals where both harmonics are there. */
typedef struct moments {
    double sum[HARMONICS * HARMONICS], weight[HARMONICS * HARMONICS];
} moments;

static void add_moments(moments *c, const evidence *ev, size_t i, size_t j,
                        const double r[HARMONICS])
{
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b < HARMONICS; b++) {
            if (isnan(r[a]) || isnan(r[b]))
                continue;
            double noise = a == b ? ev->var[i][a] + ev->var[j][a] : 0;
            c->sum[a * HARMONICS + b] += 0.5 * (r[a] * r[b] - noise);
            c->weight[a * HARMONICS + b] += 1;
        }
}

/* Makes it a covariance again: eigenvalues at least floor^2. */
static void clip_eigenvalues(double *sigma, double floor_db2)
{
    gsl_matrix_view c = gsl_matrix_view_array(sigma, HARMONICS, HARMONICS);
    gsl_matrix *v = gsl_matrix_alloc(HARMONICS, HARMONICS),
               *copy = gsl_matrix_alloc(HARMONICS, HARMONICS);
    gsl_vector *e = gsl_vector_alloc(HARMONICS);
    gsl_eigen_symmv_workspace *w = gsl_eigen_symmv_alloc(HARMONICS);
    gsl_matrix_memcpy(copy, &c.matrix);
    gsl_eigen_symmv(copy, e, v, w);
    gsl_matrix_set_zero(&c.matrix);
    for (size_t k = 0; k < HARMONICS; k++) {
        gsl_vector_view column = gsl_matrix_column(v, k);
        gsl_blas_dger(fmax(gsl_vector_get(e, k), floor_db2), &column.vector, &column.vector,
                      &c.matrix);
    }
    gsl_eigen_symmv_free(w);
    gsl_vector_free(e);
    gsl_matrix_free(copy);
    gsl_matrix_free(v);
}

static void fit_sigma(model *m, const evidence *ev, const double *p2, const model_settings *s,
                      size_t stride)
{
    moments c = {.sum = {0}};
    for (size_t i = 0; i < ev->n; i += stride) {
        double r[HARMONICS], q[HARMONICS];
        size_t j = ev->before[i];
        if (!usable(ev, i) || j == EVIDENCE_NONE || !usable(ev, j))
            continue;
        if (residual(m, ev, i, p2[i] - 0.5, r) < 2 || residual(m, ev, j, p2[j] - 0.5, q) < 2)
            continue;
        for (int h = 0; h < HARMONICS; h++)
            r[h] -= q[h];
        add_moments(&c, ev, i, j, r);
    }
    double floor_db2 = s->floor_db * s->floor_db;
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b < HARMONICS; b++) {
            double w = c.weight[a * HARMONICS + b];
            double prior = a == b ? 9 : 0; /* 3 dB until the data say otherwise */
            double v = (c.sum[a * HARMONICS + b] + 20 * prior) / (w + 20);
            m->sigma[a * HARMONICS + b] = a == b ? fmax(v, floor_db2) : (1 - s->shrink) * v;
        }
    clip_eigenvalues(m->sigma, floor_db2);
}

static void set_ranges(model *m, const evidence *ev)
{
    double lo = (double)INFINITY, hi = 0, sum = 0;
    for (size_t i = 0; i < ev->n; i++) {
        double hz = note_to_hz(ev->pitch_st[i]);
        lo = fmin(lo, warp(hz));
        for (int h = 0; h < HARMONICS; h++)
            if (!isnan(ev->y_db[i][h]))
                hi = fmax(hi, warp((h + 1) * hz));
        sum += ev->pitch_st[i];
    }
    m->lo = lo;
    m->hi = fmax(hi, lo + 0.1);
    m->pitch_mid = sum / (double)ev->n;
}

bool model_fit(model *m, const evidence *ev, const double *p2, const model_settings *s)
{
    if (m->hi <= m->lo) {
        set_ranges(m, ev);
        memset(m->sigma, 0, sizeof m->sigma);
        for (int h = 0; h < HARMONICS; h++)
            m->sigma[h * HARMONICS + h] = 9;
    }
    size_t stride = 2 + ev->n / FRAMES_MOST, used = 0;
    normal *eq = xcalloc(1, sizeof *eq);
    add_priors(eq, s);
    for (size_t i = 0; i < ev->n; i += stride)
        if (usable(ev, i)) {
            add_frame(eq, m, ev, i, p2);
            used++;
        }
    bool good = used > 20 && solve(eq, m->beta);
    free(eq);
    if (good)
        fit_sigma(m, ev, p2, s, stride);
    return good;
}

/* Whitens r and d with the covariance of this frame's harmonics and gives z, M and a Student
 * weight. */
static saying frame_says(const model *m, const evidence *ev, size_t i)
{
    double c[HARMONICS * HARMONICS], r[HARMONICS], d[HARMONICS];
    int used[HARMONICS], n = 0;
    for (int h = 0; h < HARMONICS; h++)
        if (!isnan(ev->y_db[i][h]))
            used[n++] = h;
    if (n < 2)
        return (saying){0, 0, 0};
    for (int a = 0; a < n; a++) {
        row x = row_of(m, ev, i, used[a]);
        r[a] = ev->y_db[i][used[a]] - common(m, &x);
        d[a] = step(m, &x);
        for (int b = 0; b < n; b++)
            c[a * n + b] = m->sigma[used[a] * HARMONICS + used[b]] + free_gain_db2 +
                           (a == b ? ev->var[i][used[a]] : 0);
    }
    double g1[HARMONICS], g2[HARMONICS], q1 = 0.04, q2 = 0.04;
    for (int a = 0; a < n; a++) {
        double hz = (used[a] + 1) * note_to_hz(ev->pitch_st[i]);
        double slope = (model_tract(m, hz * 1.03) - model_tract(m, hz / 1.03)) / (2 * log2(1.03));
        double low = 1 / (1 + pow(hz / 1100, 8));
        g1[a] = q1 * slope * low;
        g2[a] = q2 * slope * (1 - low);
    }
    for (int a = 0; a < n; a++)
        for (int b = 0; b < n; b++)
            c[a * n + b] += g1[a] * g1[b] + g2[a] * g2[b];
    gsl_matrix_view cm = gsl_matrix_view_array(c, (size_t)n, (size_t)n);
    gsl_vector_view rv = gsl_vector_view_array(r, (size_t)n),
                    dv = gsl_vector_view_array(d, (size_t)n);
    if (gsl_linalg_cholesky_decomp1(&cm.matrix))
        return (saying){0, 0, 0};
    gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, &cm.matrix, &rv.vector);
    gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, &cm.matrix, &dv.vector);
    double z, mass, q;
    gsl_blas_ddot(&rv.vector, &dv.vector, &z);
    gsl_blas_ddot(&dv.vector, &dv.vector, &mass);
    gsl_blas_ddot(&rv.vector, &rv.vector, &q);
    double off = mass > 0 ? fmax(0, q - z * z / mass) : q;
    return (saying){z, mass, (student_df + n - 1) / (student_df + off)};
}

void model_emissions(const model *m, const evidence *ev, saying *out)
{
    for (size_t i = 0; i < ev->n; i++)
        out[i] = frame_says(m, ev, i);
}

double model_tract(const model *m, double hz)
{
    double w[4], y = 0;
    int first = splines(m, hz, w);
    for (int k = 0; k < 4; k++)
        y += w[k] * m->beta[first + k];
    return y;
}
