/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_POWERS_H
#define REGISTER_POWERS_H

/* The model's tract between its knots as a cubic of how far on a harmonic lies, 0..1: what is
 * worked out for many harmonics needs four numbers of each, and no splines. */

#include "register/model.h"

typedef struct powers { /* by the first of the four splines that are not 0 there */
    float of[MODEL_SPLINES][4];
} powers;

/* Those of T with coefficients beta[MODEL_SPLINES]. */
powers powers_of_splines(const float *beta);

/* The other way round, the transpose of that: g[MODEL_SPLINES] becomes what goes to the splines of
 * what goes to the powers. */
void powers_to_splines(const powers *p, double *g);

#endif
