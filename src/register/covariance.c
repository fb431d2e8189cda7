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
    gsl_matrix_set_zero(&m.matrix);
    for (size_t k = 0; k < HARMONICS; k++) {
        gsl_vector_view v = gsl_matrix_column(vectors, k);
        gsl_blas_dger(fmax(gsl_vector_get(values, k), floor), &v.vector, &v.vector, &m.matrix);
    }
    gsl_eigen_symmv_free(w);
    gsl_vector_free(values);
    gsl_matrix_free(vectors);
    gsl_matrix_free(copy);
}

EACH_PROCESSOR static void add(covariance_sums *c, const double *v)
{
    double x[HARMONICS], there[HARMONICS], some = 0;
    for (int h = 0; h < HARMONICS; h++) {
        there[h] = !isnan(v[h]);
        x[h] = isnan(v[h]) ? 0 : v[h];
        some += there[h];
    }
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b < a / 4 * 4 + 4; b++)
            c->of[a][b] += x[a] * x[b];
    if (some == HARMONICS) {
        c->whole++;
        return;
    }
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b < a / 4 * 4 + 4; b++)
            c->n[a][b] += there[a] * there[b];
}

void covariance_add(covariance_sums *c, const double x[HARMONICS])
{
    add(c, x);
}

/* By elimination; what is not there varies by itself. The gain, which would leave floats too few
 * digits, by Sherman and Morrison's formula. */
EACH_PROCESSOR static void weigh(covariance_group *f, float gain_db2, covariance_products *out)
{
    lanes vw = {0}, ww = {0}, vv = {0}, uv = {0}, uw = {0}, uu = {0}, u[HARMONICS];
    memcpy(u, f->there, sizeof u);
    for (int k = 0; k < HARMONICS; k++) {
        lanes over = 1 / (f->c[k][k] + 1 - f->there[k]);
        lanes v = f->v[k] * over, w = f->w[k] * over, all = u[k] * over;
        vw += f->v[k] * w;
        ww += f->w[k] * w;
        vv += f->v[k] * v;
        uv += u[k] * v;
        uw += u[k] * w;
        uu += u[k] * all;
        for (int a = k + 1; a < HARMONICS; a++) {
            lanes by = f->c[a][k] * over;
            f->v[a] -= f->c[a][k] * v;
            f->w[a] -= f->c[a][k] * w;
            u[a] -= f->c[a][k] * all;
            for (int b = k + 1; b <= a; b++)
                f->c[a][b] -= by * f->c[b][k];
        }
    }
    lanes gain = gain_db2 / (1 + gain_db2 * uu);
    *out = (covariance_products){vw - gain * uv * uw, ww - gain * uw * uw, vv - gain * uv * uv};
}

void covariance_weigh(covariance_group *f, float gain_db2, covariance_products *out)
{
    weigh(f, gain_db2, out);
}
