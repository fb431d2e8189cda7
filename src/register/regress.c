/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/regress.h"

#include "base/array.h"
#include "register/covariance.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FRAMES_MOST = 8000 }; /* more frames tell no more of some 150 numbers */
static const double edge_s = 0.020;
static const double begin_db = 3, begin_frames = 20; /* the residual, until data say otherwise */

regress_settings regress_defaults(void)
{
    return (regress_settings){.rho = 0.7,
                              .smooth_t = 1,
                              .ridge_s = 1e-4,
                              .ridge_d = 0.05,
                              .smooth_d = 1,
                              .ridge_a = 4,
                              .ridge_e = 100,
                              .ridge_c = 10,
                              .shrink = 0.25,
                              .floor_db = 1};
}

typedef struct normal { /* the normal equations, lower triangle */
    double a[MODEL_SIZE * MODEL_SIZE], b[MODEL_SIZE];
} normal;

enum { ENTRIES = 13 };
typedef struct sparse { /* in ascending order of `at` */
    int n, at[ENTRIES];
    double v[ENTRIES];
} sparse;

static void put(sparse *x, int at, double v)
{
    x->at[x->n] = at;
    x->v[x->n++] = v;
}

/* The splines of row a and, `rho` times and off it, those of row b; they often are the same. */
static void put_splines(sparse *x, const model_row *a, const model_row *b, double rho)
{
    const model_row *low = b->first < a->first ? b : a, *high = low == a ? b : a;
    double of_low = low == a ? 1 : -rho, of_high = low == a ? -rho : 1;
    int apart = high->first - low->first;
    for (int k = 0; k < 4; k++)
        put(x, low->first + k, of_low * low->w[k]);
    for (int k = 0; k < 4; k++)
        if (apart + k < 4)
            x->v[apart + k] += of_high * high->w[k];
        else
            put(x, high->first + k, of_high * high->w[k]);
}

/* Row a at register si less rho times row b at sj, of one harmonic; and what si's and sj's doubts
 * di, dj multiply. */
static void put_pair(sparse *x, sparse *d, const model_row *a, const model_row *b, double rho,
                     double si, double sj, double di, double dj)
{
    put_splines(x, a, b, rho);
    put(x, MODEL_S + a->h, 1 - rho);
    put(x, MODEL_D + a->h, si - rho * sj);
    put(x, MODEL_A + a->h, a->level - rho * b->level);
    put(x, MODEL_E + a->h, si * a->level - rho * sj * b->level);
    put(x, MODEL_C + a->h, a->pitch - rho * b->pitch);
    put(d, MODEL_D + a->h, di - rho * dj);
    put(d, MODEL_E + a->h, di * a->level - rho * dj * b->level);
}

/* Lower triangle: a += weight x x'. */
static void add_outer(double *a, const sparse *x, double weight)
{
    for (int p = 0; p < x->n; p++) {
        double *line = a + x->at[p] * MODEL_SIZE, vp = weight * x->v[p];
        for (int q = 0; q <= p; q++)
            line[x->at[q]] += vp * x->v[q];
    }
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

/* Adds frame i less `ar` times the frame 100 ms before it: what drifts slowly is all but gone
 * from the difference, a step is not. The gain is taken out by centring; s enters by its mean
 * and, for its doubt, its standard deviation (frames so near are in doubt together). */
static void add_frame(normal *eq, const model *m, const evidence *ev, size_t i, const double *p2,
                      double ar)
{
    size_t j = ev->before[i];
    bool pair = j != EVIDENCE_NONE;
    double rho = pair ? ar : 0, si = p2[i] - 0.5, sj = pair ? p2[j] - 0.5 : 0;
    double di = sqrt(fmax(0, 0.25 - si * si)), dj = pair ? sqrt(fmax(0, 0.25 - sj * sj)) : 0;
    double mean[MODEL_SIZE] = {0}, doubt[MODEL_SIZE] = {0}, sum_w = 0, sum_y = 0;
    for (int h = 0; h < HARMONICS; h++) {
        double y = ev->y_db[i][h] - (pair ? rho * ev->y_db[j][h] : 0);
        if (isnan(y))
            continue;
        double noise = ev->var[i][h] + (pair ? rho * rho * ev->var[j][h] : 0);
        double w = (pair ? 1 : 1 - ar * ar) / (m->sigma[h * HARMONICS + h] + noise);
        model_row ri = model_row_of(m, ev, i, h), rj = pair ? model_row_of(m, ev, j, h) : ri;
        sparse x = {.n = 0}, d = {.n = 0};
        put_pair(&x, &d, &ri, &rj, rho, si, sj, di, dj);
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
    subtract_outer(eq->a, doubt, 1 / sum_w, MODEL_D);
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

static void add_priors(normal *eq, const regress_settings *s)
{
    add_smooth(eq, 0, MODEL_SPLINES, s->smooth_t);
    add_ridge(eq, 0, MODEL_SPLINES, 1e-4);
    add_ridge(eq, MODEL_S, HARMONICS, s->ridge_s);
    add_ridge(eq, MODEL_D, HARMONICS, s->ridge_d);
    for (int h = 0; h < HARMONICS; h++)
        eq->b[MODEL_D + h] += s->ridge_d * model_expected_step(h);
    add_smooth(eq, MODEL_D + 1, HARMONICS - 1, s->smooth_d);
    add_ridge(eq, MODEL_A, HARMONICS, s->ridge_a);
    add_smooth(eq, MODEL_A, HARMONICS, s->ridge_a);
    add_ridge(eq, MODEL_E, HARMONICS, s->ridge_e);
    add_smooth(eq, MODEL_E, HARMONICS, s->ridge_e);
    add_ridge(eq, MODEL_C, HARMONICS, s->ridge_c);
    add_smooth(eq, MODEL_C, HARMONICS, s->ridge_c);
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

static void fit_sigma(model *m, const evidence *ev, const double *p2, const regress_settings *s,
                      size_t stride)
{
    moments c = {.sum = {0}};
    for (size_t i = 0; i < ev->n; i += stride) {
        double r[HARMONICS], q[HARMONICS];
        size_t j = ev->before[i];
        if (!usable(ev, i) || j == EVIDENCE_NONE || !usable(ev, j))
            continue;
        if (model_residual(m, ev, i, p2[i] - 0.5, r) < 2 ||
            model_residual(m, ev, j, p2[j] - 0.5, q) < 2)
            continue;
        for (int h = 0; h < HARMONICS; h++)
            r[h] -= q[h];
        add_moments(&c, ev, i, j, r);
    }
    double floor_db2 = s->floor_db * s->floor_db;
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b < HARMONICS; b++) {
            double w = c.weight[a * HARMONICS + b];
            double begin = a == b ? begin_frames * begin_db * begin_db : 0;
            double v = (c.sum[a * HARMONICS + b] + begin) / (w + begin_frames);
            m->sigma[a * HARMONICS + b] = a == b ? fmax(v, floor_db2) : (1 - s->shrink) * v;
        }
    covariance_mend(m->sigma, floor_db2);
}

static void set_ranges(model *m, const evidence *ev)
{
    double lo = (double)INFINITY, hi = 0, sum = 0;
    for (size_t i = 0; i < ev->n; i++) {
        double hz = ev->hz[i];
        lo = fmin(lo, model_warp(hz));
        for (int h = 0; h < HARMONICS; h++)
            if (!isnan(ev->y_db[i][h]))
                hi = fmax(hi, model_warp((h + 1) * hz));
        sum += ev->pitch_st[i];
    }
    m->lo = lo;
    m->hi = fmax(hi, lo + 0.1);
    m->pitch_mid = sum / (double)ev->n;
}

bool regress_fit(model *m, const evidence *ev, const double *p2, const regress_settings *s)
{
    if (m->hi <= m->lo) {
        set_ranges(m, ev);
        memset(m->sigma, 0, sizeof m->sigma);
        for (int h = 0; h < HARMONICS; h++)
            m->sigma[h * HARMONICS + h] = begin_db * begin_db;
    }
    size_t stride = (ev->hop_s < 0.01 ? 2 : 1) + ev->n / FRAMES_MOST, used = 0;
    normal *eq = xcalloc(1, sizeof *eq);
    add_priors(eq, s);
    for (size_t i = 0; i < ev->n; i += stride)
        if (usable(ev, i)) {
            add_frame(eq, m, ev, i, p2, s->rho);
            used++;
        }
    bool good = used > 20 && solve(eq, m->beta);
    free(eq);
    if (good)
        fit_sigma(m, ev, p2, s, stride);
    return good;
}
