/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_COVARIANCE_H
#define REGISTER_COVARIANCE_H

/* Covariances between harmonics, gathered where some are missing. */

#include "base/lanes.h"
#include "register/evidence.h"

#include <stdbool.h>

/* Sums of products of vectors that are NaN where a harmonic is missing, and how many there are:
 * those of harmonics i and i + k, modulo HARMONICS, stand in [k][i]. */
enum { COVARIANCE_HELD = 32, COVARIANCE_APART = HARMONICS / 2 + 1 };
typedef struct covariance_sums {
    double of[COVARIANCE_APART][HARMONICS], n[COVARIANCE_APART][HARMONICS];
    double whole;         /* vectors with all harmonics, which n leaves out */
    int held, held_there; /* vectors to be added yet, 0 for NaN, and 1 or 0 for what is there; the
                             first LANES numbers stand once more at the end */
    float x[COVARIANCE_HELD][HARMONICS + LANES], there[COVARIANCE_HELD][HARMONICS + LANES];
} covariance_sums;
void covariance_add(covariance_sums *c, const float x[HARMONICS]);
void covariance_end(covariance_sums *c); /* after the last */
/* Of harmonics a and b, the sum of their products and how many vectors have both. */
double covariance_sum(const covariance_sums *c, int a, int b, double *n);

/* a += by * x' x for `rows` rows of x[width], a multiple of LANES: the upper triangle of a, whose
 * rows are `stride` apart. */
void covariance_outer(double *a, size_t stride, const float *x, size_t width, int rows, double by);

/* Makes a symmetric matrix c[HARMONICS * HARMONICS] a covariance: eigenvalues at least `floor`. */
void covariance_mend(double *c, double floor);

void covariance_diagonal(const double *c, float out[HARMONICS]); /* of c[HARMONICS * HARMONICS] */

/* Two vectors of each of LANES frames, a frame a lane; 0 for a harmonic that a frame lacks. */
typedef struct covariance_group {
    lanes there[HARMONICS]; /* 1 or 0 */
    lanes v[HARMONICS], w[HARMONICS];
    lanes c[HARMONICS][HARMONICS]; /* the lower triangle of their covariance C, which has to be
                                      positive definite; of a harmonic that a frame lacks: 0,
                                      or a variance beside which nothing counts */
} covariance_group;
typedef struct covariance_root {                    /* C = L D L', L's diagonal 1 */
    lanes l[HARMONICS][HARMONICS], over[HARMONICS]; /* L by rows, 1 / D */
} covariance_root;
void covariance_factor(covariance_group *f, covariance_root *r); /* overwrites c */

typedef struct covariance_products { /* v' C^-1 w and so on, in each lane */
    lanes vw, ww, vv;
} covariance_products;
/* To C, whose root r is, is added a gain of variance gain_db2 that all of a frame's harmonics
 * share. Overwrites v and w. */
void covariance_weigh(covariance_group *f, const covariance_root *r, float gain_db2,
                      covariance_products *out);

#endif
