/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_FIELLER_H
#define FIT_FIELLER_H

#include <stdbool.h>

/* Where a + b x may be 0: the x with (a + b x)^2 <= t^2 Var(a + b x), between two roots (Fieller,
 * Journal of the Royal Statistical Society B 16:175, 1954). aa, ab, bb: variances and covariance of
 * a and b; t: the point of the distribution. False where b may be 0, and the x have no end. */
bool fieller(double a, double b, double aa, double ab, double bb, double t, double *lo, double *hi);

#endif
