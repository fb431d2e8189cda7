/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_SCATTER_H
#define FIT_SCATTER_H

/* Values of several sessions on what may move them, where sessions scatter by themselves.
 *
 *   y_i = x_i . beta + u_i + e_i,   u_i ~ N(0, scatter), e_i ~ N(0, error_i), error_i known
 *
 * scatter^2 is where the weighted sum of squares equals its degrees of freedom (Paule & Mandel
 * 1982, Journal of Research of the NBS 87:377); the coefficients' covariance is scaled by that sum
 * over its degrees of freedom, and Student's t with n - p of them gives the intervals (Knapp &
 * Hartung 2003, Statistics in Medicine 22:2693), which hold with few sessions and whether they
 * scatter or not. With fewer than 2 degrees of freedom the scatter cannot be estimated: then it is
 * the one assumed, and the intervals are normal. */

#include "fit/boundary.h"

enum { SCATTER_X = 2 };

typedef struct scatter_point {
    double y, error;     /* error > 0: standard error of y within the session */
    double x[SCATTER_X]; /* the first p count; x[0] is 1 in most uses */
} scatter_point;

typedef struct scatter_fit {
    size_t n, p;
    double freedom; /* n - p; INFINITY where the scatter is assumed */
    double scatter; /* standard deviation between sessions, in y's unit */
    bool assumed;
    double beta[SCATTER_X], error[SCATTER_X];
} scatter_fit;

/* Points whose y or error is not finite are passed over. False when fewer than p are left or x
 * does not tell the coefficients apart. p is 1 or 2. */
bool scatter_regress(const scatter_point *points, size_t n, size_t p, double assumed,
                     scatter_fit *out);

figure scatter_figure(const scatter_fit *f, size_t coefficient);
/* The least true size of a coefficient that such data call different from 0 (at 5 %, two-sided) in
 * four of five cases: error times the sum of Student's 97.5 % and 80 % points. */
double scatter_detectable(const scatter_fit *f, size_t coefficient);

#endif
