/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/covariance.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_eigen.h>
#include <math.h>
#include <string.h>

/* Whether all eigenvalues are above `floor`: then all pivots are above 0. */
static bool is_above(const double *c, double floor)
{
    double a[HARMONICS][HARMONICS];
    memcpy(a, c, sizeof a);
    for (int k = 0; k < HARMONICS; k++)
        a[k][k] -= floor;
    for (int k = 0; k < HARMONICS; k++) {
        if (!(a[k][k] > 0))
            return false;
        for (int i = k + 1; i < HARMONICS; i++) {
            double by = a[i][k] / a[k][k];
            for (int j = k + 1; j < HARMONICS; j++)
                a[i][j] -= by * a[k][j];
        }
    }
    return true;
}

void covariance_diagonal(const double *c, float out[HARMONICS])
{
    for (int h = 0; h < HARMONICS; h++)
        out[h] = (float)c[h * HARMONICS + h];
}

void covariance_mend(double *c, double floor)
{
    if (is_above(c, floor))
        return;
    gsl_matrix_view m = gsl_matrix_view_array(c, HARMONICS, HARMONICS);
    gsl_matrix *copy = gsl_matrix_alloc(HARMONICS, HARMONICS);
    gsl_matrix *vectors = gsl_matrix_alloc(HARMONICS, HARMONICS);
    gsl_vector *values = gsl_vector_alloc(HARMONICS);
    gsl_eigen_symmv_workspace *w = gsl_eigen_symmv_alloc(HARMONICS);
    gsl_matrix_memcpy(copy, &m.matrix);
    gsl_eigen_symmv(copy, values, vectors, w);
    for (size_t k = 0; k < HARMONICS; k++) {
        gsl_vector_view v = gsl_matrix_column(vectors, k);
        double lacks = floor - gsl_vector_get(values, k);
        if (lacks > 0)
            gsl_blas_dger(lacks, &v.vector, &v.vector, &m.matrix);
    }
    gsl_eigen_symmv_free(w);
    gsl_vector_free(values);
    gsl_matrix_free(vectors);
    gsl_matrix_free(copy);
}

/* 8 columns at a time by 8 rows. */
EACH_PART void add_outer(double *a, size_t stride, const float *x, size_t width, int rows,
                         double by)
{
    for (size_t p = 0; p < width; p += LANES)
        for (size_t q = p; q < width; q += LANES) {
            lanes sums[LANES] = {{0}};
            for (int t = 0; t < rows; t++) {
                const float *line = x + (size_t)t * width;
                lanes part = lanes_load(line + q);
                for (int k = 0; k < LANES; k++)
                    sums[k] += line[p + (size_t)k] * part;
            }
            for (size_t k = 0; k < LANES; k++)
                for (size_t j = 0; j < LANES; j++)
                    a[(p + k) * stride + q + j] += by * (double)sums[k][j];
        }
}

EACH_PROCESSOR static void outer(double *a, size_t stride, const float *x, size_t width, int rows,
                                 double by)
{
    add_outer(a, stride, x, width, rows, by);
}

void covariance_outer(double *a, size_t stride, const float *x, size_t width, int rows, double by)
{
    outer(a, stride, x, width, rows, by);
}

enum { TURNS = 3 }; /* of a vector that are worked on together */

EACH_PART void add_turned(double (*to)[HARMONICS], float (*x)[HARMONICS + LANES], int rows)
{
    for (int k = 0; k < COVARIANCE_APART; k += TURNS) {
        lanes low[TURNS] = {{0}}, high[TURNS] = {{0}};
        for (int t = 0; t < rows; t++) {
            lanes first = lanes_load(x[t]), second = lanes_load(x[t] + LANES);
            for (int j = 0; j < TURNS; j++) {
                low[j] += first * lanes_load(x[t] + k + j);
                high[j] += second * lanes_load(x[t] + LANES + k + j);
            }
        }
        for (int j = 0; j < TURNS; j++)
            for (int i = 0; i < LANES; i++) {
                to[k + j][i] += (double)low[j][i];
                to[k + j][LANES + i] += (double)high[j][i];
            }
    }
}

EACH_PROCESSOR static void turned(double (*to)[HARMONICS], float (*x)[HARMONICS + LANES], int rows)
{
    add_turned(to, x, rows);
}

void covariance_end(covariance_sums *c)
{
    turned(c->of, c->x, c->held);
    turned(c->n, c->there, c->held_there);
    c->held = c->held_there = 0;
}

double covariance_sum(const covariance_sums *c, int a, int b, double *n)
{
    int apart = (b - a + HARMONICS) % HARMONICS, from = a;
    if (apart >= COVARIANCE_APART) {
        apart = HARMONICS - apart;
        from = b;
    }
    *n = c->whole + c->n[apart][from];
    return c->of[apart][from];
}

EACH_PART void hold_vector(covariance_sums *c, const float x[HARMONICS])
{
    float *to = c->x[c->held], *there = c->there[c->held_there];
    lanes v[2], one[2], n = {0};
    for (int k = 0; k < 2; k++) {
        v[k] = lanes_load(x + k * LANES);
        lane_bits is = v[k] < INFINITY;
        v[k] = lanes_where(is, v[k]);
        one[k] = lanes_where(is, 1 + (lanes){0});
        n += one[k];
    }
    for (int k = 0; k < 3; k++) {
        lanes_store(to + k * LANES, v[k % 2]);
        lanes_store(there + k * LANES, one[k % 2]);
    }
    n = lanes_sum(n);
    c->held += n[0] > 0;
    c->whole += n[0] == HARMONICS;
    c->held_there += n[0] > 0 && n[0] < HARMONICS;
}

EACH_PROCESSOR static void hold(covariance_sums *c, const float x[HARMONICS])
{
    hold_vector(c, x);
}

void covariance_add(covariance_sums *c, const float x[HARMONICS])
{
    hold(c, x);
    if (c->held == COVARIANCE_HELD)
        covariance_end(c);
}

/* Rows of C that end with column n - 1 become those of L D; several at a time, as they need the
 * same of L. */
EACH_PART void reduce(const covariance_root *r, int n, int rows, lanes *const row[])
{
    for (int b = 1; b < n; b++) {
        lanes sum[3];
        for (int q = 0; q < rows; q++)
            sum[q] = row[q][b];
        for (int k = 0; k < b; k++)
            for (int q = 0; q < rows; q++)
                sum[q] -= row[q][k] * r->l[b][k];
        for (int q = 0; q < rows; q++)
            row[q][b] = sum[q];
    }
}

/* Row a of L, and of 1 / D, from row a of L D. */
EACH_PART void end_row(covariance_root *r, int a, const lanes *row, lanes missing)
{
    lanes d = row[a];
    for (int k = 0; k < a; k++) {
        r->l[a][k] = row[k] * r->over[k];
        d -= row[k] * r->l[a][k];
    }
    r->over[a] = 1 / (d + missing);
}

/* What is not there varies by itself. */
EACH_PART void root_of(covariance_group *f, covariance_root *r)
{
    for (int a = 0; a < HARMONICS; a += 2) {
        lanes *const rows[] = {f->c[a], f->c[a + 1]};
        reduce(r, a, 2, rows);
        end_row(r, a, rows[0], 1 - f->there[a]);
        for (int k = 0; k < a; k++)
            rows[1][a] -= rows[1][k] * r->l[a][k];
        end_row(r, a + 1, rows[1], 1 - f->there[a + 1]);
    }
}

EACH_PROCESSOR static void find_root(covariance_group *f, covariance_root *r)
{
    root_of(f, r);
}

void covariance_factor(covariance_group *f, covariance_root *r)
{
    find_root(f, r);
}

/* The gain, which would leave floats too few digits, by Sherman and Morrison's formula. */
EACH_PROCESSOR static void weigh(covariance_group *f, const covariance_root *r, float gain_db2,
                                 covariance_products *out)
{
    lanes u[HARMONICS], vw = {0}, ww = {0}, vv = {0}, uv = {0}, uw = {0}, uu = {0};
    memcpy(u, f->there, sizeof u);
    lanes *const rows[] = {f->v, f->w, u};
    if (gain_db2 > 0)
        reduce(r, HARMONICS, 3, rows);
    else
        reduce(r, HARMONICS, 2, rows);
    for (int k = 0; k < HARMONICS; k++) {
        lanes v = f->v[k] * r->over[k], w = f->w[k] * r->over[k];
        vw += f->v[k] * w;
        ww += f->w[k] * w;
        vv += f->v[k] * v;
        uv += u[k] * v;
        uw += u[k] * w;
        uu += u[k] * u[k] * r->over[k];
    }
    lanes gain = gain_db2 / (1 + gain_db2 * uu);
    *out = (covariance_products){vw - gain * uv * uw, ww - gain * uw * uw, vv - gain * uv * uv};
}

void covariance_weigh(covariance_group *f, const covariance_root *r, float gain_db2,
                      covariance_products *out)
{
    weigh(f, r, gain_db2, out);
}
