/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_NORMAL_H
#define REGISTER_NORMAL_H

/* The matrix of the normal equations of the model's regression (register/regress.h), added up frame
 * by frame. Inside, T's coefficients come last: see normal_place(). */

#include "register/model.h"

#include <stdbool.h>

enum { NORMAL_PARTS = 5, NORMAL_HELD = 32 }; /* S, D, a, e, c; frames held back */

typedef struct normal {
    double a[MODEL_SIZE][MODEL_SIZE];                    /* the upper triangle is what counts */
    double parts[NORMAL_PARTS][NORMAL_PARTS][HARMONICS]; /* of it, each part with each, j >= i */
    /* Of the frames held back, what centring takes off: outer products of these, which floats are
     * good for. */
    int held;
    float mean[NORMAL_HELD][MODEL_SIZE], doubt[NORMAL_HELD][2][HARMONICS];
} normal;

typedef struct normal_frame { /* what enters: a frame less rho times another */
    size_t frame, other;      /* other: any where rho = 0 */
    double rho;
    double s, s_other;   /* the mean of the register, -1/2 to 1/2 */
    double sd, sd_other; /* its standard deviation */
    double counts;       /* the weight of a harmonic is this over its variance */
} normal_frame;

/* Where coefficient k of model.beta stands in a. */
static inline int normal_place(int k)
{
    return (k + NORMAL_PARTS * HARMONICS) % MODEL_SIZE;
}

/* Adds a frame. The gain is taken out by centring; s enters by its mean and, for its doubt, its
 * standard deviation (frames so near are in doubt together). */
void normal_add(normal *eq, const model *m, const evidence *ev, const normal_frame *f);
/* R, upper, with R' R = a, in the order of a, and 1 over its diagonal, which r itself is without:
 * good for what is then mended by whom it serves. */
typedef struct normal_root {
    float r[MODEL_SIZE][MODEL_SIZE], over[MODEL_SIZE];
} normal_root;
/* After the last frame; false when a is not positive definite. Overwrites a. */
bool normal_factor(normal *eq, normal_root *out);
/* x, with a x = b. */
void normal_solve(const normal_root *root, const double b[MODEL_SIZE], double x[MODEL_SIZE]);

#endif
