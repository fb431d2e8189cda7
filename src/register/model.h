/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_MODEL_H
#define REGISTER_MODEL_H

/* A singer's harmonics as source and tract:
 *
 *   y_ht = g_t + T(h f0_t) + S(h) + s D(h) + (a(h) + s e(h)) l_t + c(h) p_t + noise,
 *
 * s = -1/2 in M1 and +1/2 in M2; T one smooth function of frequency for both registers (cubic
 * B-splines, uniform in log2(1 + f / 300 Hz)), S the source, D the step of the source from M1 to
 * M2, a, e its slopes on level, c a slope on pitch. The frame's gain g is free. Where vowels
 * change, T is that of all of them, and what its own vowel does besides is taken out of each frame
 * beforehand (register/vowels.h). */

#include "base/lanes.h"
#include "register/evidence.h"

#include <stdbool.h>

enum { MODEL_SPLINES = 72, MODEL_SIZE = MODEL_SPLINES + 5 * HARMONICS };
/* Where each part begins in model.beta. */
enum {
    MODEL_S = MODEL_SPLINES,
    MODEL_D = MODEL_S + HARMONICS,
    MODEL_A = MODEL_D + HARMONICS,
    MODEL_E = MODEL_A + HARMONICS,
    MODEL_C = MODEL_E + HARMONICS
};

enum { VOWELS_MOST = 9, VOWEL_NODES = 40 };
typedef struct vowels {
    bool may_change;                       /* else n stays 0 */
    int n;                                 /* 0: one vowel */
    float shape[VOWELS_MOST][VOWEL_NODES]; /* dB at nodes evenly from lo to hi, linear between */
} vowels;

typedef struct model {
    double beta[MODEL_SIZE];             /* T's coefficients, then S, D, a, e, c by harmonic; dB */
    double sigma[HARMONICS * HARMONICS]; /* covariance of the residual, dB^2, noise taken out */
    double lo, hi;                       /* range of T in log2(1 + f / 300 Hz) */
    vowels mouth;
    double pitch_mid; /* semitones at which c does nothing */
} model;

/* Intervals between T's splines in 1 of log2(1 + f / 300 Hz). */
static inline double model_per_warp(const model *m)
{
    return (MODEL_SPLINES - 3) / (m->hi - m->lo);
}

/* The first of T's four splines that are not 0 at `warp`; *x: how far on it lies, 0..1. */
EACH_PART int model_spline(const model *m, double per_warp, double warp, double *x)
{
    double u = (warp - m->lo) * per_warp, last = MODEL_SPLINES - 3 - 1e-9;
    u = u < 0 ? 0 : u > last ? last : u;
    *x = u - (int)u;
    return (int)u;
}

/* w[0..3] become T's splines that are not 0 at `warp`, from the one returned. */
EACH_PART int model_splines(const model *m, double per_warp, double warp, fours *w)
{
    static const fours cubic[] = {{1 / 6.0, 2 / 3.0, 1 / 6.0, 0},
                                  {-0.5, 0, 0.5, 0},
                                  {0.5, -1, 0.5, 0},
                                  {-1 / 6.0, 0.5, -0.5, 1 / 6.0}};
    double x;
    int first = model_spline(m, per_warp, warp, &x);
    *w = cubic[0] + x * (cubic[1] + x * (cubic[2] + x * cubic[3]));
    return first;
}

/* What s multiplies in harmonic h; dB. */
double model_step(const model *m, int h, double level_db);
/* The same in parts: at the middle level, and what each dB adds. */
void model_step_floats(const model *m, float fixed[HARMONICS], float per_db[HARMONICS]);

/* What a frame says of its register coordinate c = s + drift: its log-likelihood is, up to a
 * constant, weight * (c z - c^2 mass / 2). */
typedef struct saying {
    double z, mass;
    double weight; /* Student's: small where the frame fits neither register; 0 for no evidence */
} saying;
/* r[ev->n]: what the model leaves of the frames at s = 0, its mean taken out (register/design.h);
 * out[ev->n] */
void model_emissions(const model *m, const evidence *ev, float (*r)[HARMONICS], saying *out);

/* What harmonic h, 0 the first, is expected to step by from M1 to M2, dB: +4 for the first, -1 an
 * octave above the second. Falsetto has the stronger fundamental (Sundberg and Hoegset 2001). */
double model_expected_step(int h);

double model_tract(const model *m, double hz); /* T, dB up to a constant */

#endif
