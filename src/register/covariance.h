/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_COVARIANCE_H
#define REGISTER_COVARIANCE_H

/* Covariances between harmonics, gathered where some are missing. */

#include "register/evidence.h"

#include <stdbool.h>

/* Makes a symmetric matrix c[HARMONICS * HARMONICS] a covariance: eigenvalues at least `floor`. */
void covariance_mend(double *c, double floor);

/* Lower Cholesky factor, in place, of the leading n x n of a row-major matrix of width n; false
 * when it is not positive definite. */
bool covariance_factor(double *c, int n);
/* v becomes L^-1 v. */
void covariance_whiten(const double *factor, int n, double *v);
double covariance_dot(const double *a, const double *b, int n);

#endif
