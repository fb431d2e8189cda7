/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/covariance.h"

#include <gsl/gsl_blas.h>
#include <gsl/gsl_eigen.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>
#include <math.h>

void covariance_mend(double *c, double floor)
{
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

bool covariance_factor(double *c, int n)
{
    gsl_matrix_view m = gsl_matrix_view_array(c, (size_t)n, (size_t)n);
    return gsl_linalg_cholesky_decomp1(&m.matrix) == GSL_SUCCESS;
}

void covariance_whiten(const double *factor, int n, double *v)
{
    gsl_matrix_const_view m = gsl_matrix_const_view_array(factor, (size_t)n, (size_t)n);
    gsl_vector_view x = gsl_vector_view_array(v, (size_t)n);
    gsl_blas_dtrsv(CblasLower, CblasNoTrans, CblasNonUnit, &m.matrix, &x.vector);
}

double covariance_dot(const double *a, const double *b, int n)
{
    double sum = 0;
    for (int k = 0; k < n; k++)
        sum += a[k] * b[k];
    return sum;
}
