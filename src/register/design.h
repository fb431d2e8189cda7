/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_DESIGN_H
#define REGISTER_DESIGN_H

/* The regression of register/regress.h as weighted sums over frames, without ever forming its
 * matrix A: what a vector of coefficients leaves of the harmonics, and what A makes of it.
 *
 * A row is a frame less rho times the frame before it; of each row the mean over its harmonics,
 * weighted, is taken out (the gain). Floats are good for all of it: a sum over a singer's frames is
 * right to a hundred thousandth of a standard error. */

#include "register/model.h"

static const double DESIGN_EDGE_S = 0.02;

typedef struct design {
    const evidence *ev;
    size_t n_rows;
    /* [n] */
    unsigned short (*first)[HARMONICS]; /* of T's splines that are not 0 at each harmonic, by 4 */
    float (*beyond)[HARMONICS];         /* and how far on it lies, 0..1 */
    float (*y)[HARMONICS];              /* dB, NaN for no harmonic: ev's, or what is put there */
    float *level, *pitch;               /* dB, st, what a, e and c multiply */
    /* [n] once there are rows */
    size_t *other;       /* of the row: the frame before, or the frame itself */
    float *rho, *counts; /* 0 without a frame before; 0 without a row */
    bool *enters;        /* a row, as the one or the other */
    /* [n] for one fit */
    float *s, *sd;         /* the register, -1/2 to 1/2, and its standard deviation */
    float (*w)[HARMONICS]; /* weights of the rows, 1 / dB^2 */
    float *over;           /* 1 over their sum; 0 for none */
} design;

/* For models whose range is m's. */
design *design_new(const evidence *ev, const model *m);
void design_free(design *d);

/* Rows: one for every `stride` frames that are DESIGN_EDGE_S or more from an end of what is sung.
 */
void design_rows(design *d, double rho, size_t stride);

/* What a fit is about: p2[n] and the covariance's diagonal. */
void design_set(design *d, const double *p2, const double *sigma);

/* g[MODEL_SIZE] = X' W (y - X beta), or with `alone` X' W X beta. */
void design_gradient(const design *d, const double *beta, bool alone, double *g);

/* What m leaves of the frames at s = 0, the gain left in; 0 where there is no harmonic. */
void design_unexplained(design *d, const model *m, float (*left)[HARMONICS]);
/* Of that what is left at s = p2[n] - 1/2, or 0 for NULL, and the mean weighted by the certainty of
 * each harmonic, the gain, taken out; NaN where there is no harmonic. r may be `left`. */
void design_residuals(const design *d, const model *m, const double *opt_p2,
                      float (*left)[HARMONICS], float (*r)[HARMONICS]);

#endif
