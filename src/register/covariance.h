/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_COVARIANCE_H
#define REGISTER_COVARIANCE_H

/* Covariances between harmonics, gathered where some are missing. */

#include "base/lanes.h"
#include "register/evidence.h"

#include <stdbool.h>

/* Sums of products of vectors that are NaN where a harmonic is missing, and how many there are. */
typedef struct covariance_sums {
    double of[HARMONICS][HARMONICS], n[HARMONICS][HARMONICS]; /* rows down to the diagonal */
    double whole; /* vectors with all harmonics, which n leaves out */
} covariance_sums;
void covariance_add(covariance_sums *c, const double x[HARMONICS]);

/* Makes a symmetric matrix c[HARMONICS * HARMONICS] a covariance: eigenvalues at least `floor`. */
void covariance_mend(double *c, double floor);

/* Two vectors of each of LANES frames, a frame a lane; 0 for a harmonic that a frame lacks. */
typedef struct covariance_group {
    lanes there[HARMONICS]; /* 1 or 0 */
    lanes v[HARMONICS], w[HARMONICS];
    lanes c[HARMONICS][HARMONICS]; /* the lower triangle of their covariance C, which has to be
                                      positive definite; of a harmonic that a frame lacks: 0 */
} covariance_group;
typedef struct covariance_products { /* v' C^-1 w and so on, in each lane */
    lanes vw, ww, vv;
} covariance_products;
/* To C is added a gain of variance gain_db2 that all of a frame's harmonics share. Overwrites all
 * but `there`. */
void covariance_weigh(covariance_group *f, float gain_db2, covariance_products *out);

#endif
