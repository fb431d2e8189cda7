/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_MODEL_H
#define REGISTER_MODEL_H

/* A singer's harmonics as source and tract:
 *
 *   y_ht = g_t + T(h f0_t) + S(h) + s D(h) + (a(h) + s e(h)) l_t + c(h) p_t + noise,
 *
 * s = -1/2 in M1 and +1/2 in M2; T one smooth function of frequency for both registers (cubic
 * B-splines), S the source, D the step of the source from M1 to M2, a, e its slopes on level, c a
 * slope on pitch. The frame's gain g is free. Given the registers' probabilities the rest is a
 * weighted penalised least-squares problem with one answer. */

#include "register/evidence.h"

#include <stdbool.h>

enum { MODEL_SPLINES = 72, MODEL_SIZE = MODEL_SPLINES + 5 * HARMONICS };

typedef struct model_settings {
    double smooth;   /* weight of the squared second differences of T's coefficients */
    double ridge_s;  /* of S, per dB^2: S may be anything */
    double ridge_d;  /* of D: a prior of mean 0 and 10 dB */
    double ridge_a;  /* of a: a slope of 0.5 dB/dB */
    double ridge_e;  /* of e: a slope of 0.1 dB/dB */
    double ridge_c;  /* of c: a slope of 0.3 dB/semitone */
    double shrink;   /* share of the covariance's off-diagonal that is given up */
    double floor_db; /* standard deviation that the residual has at least */
} model_settings;
model_settings model_defaults(void);

typedef struct model {
    double beta[MODEL_SIZE];             /* T's coefficients, then S, D, a, e, c by harmonic, dB */
    double sigma[HARMONICS * HARMONICS]; /* residual covariance, dB^2, gain and noise taken out */
    double lo, hi;                       /* range of T in log2(1 + f / 300 Hz) */
    double pitch_mid;                    /* semitones at which c does nothing */
} model;

/* M-step: fits beta and then sigma to all frames, p2[n] the probability of M2 in each.
 * Frames nearer than 20 ms to an end of voice are left out. False when too few frames have two
 * harmonics or more to determine anything. */
bool model_fit(model *m, const evidence *ev, const double *p2, const model_settings *s);

/* What a frame says of its register coordinate c = s + drift: log-likelihood kappa (c z - c^2 M /
 * 2). */
typedef struct saying {
    double z, mass, kappa;
} saying;
void model_emissions(const model *m, const evidence *ev, saying *out); /* out[ev->n] */

/* T in dB at a frequency, S and D in dB, for display. */
double model_tract(const model *m, double hz);

#endif
