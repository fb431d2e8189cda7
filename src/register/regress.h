/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_REGRESS_H
#define REGISTER_REGRESS_H

/* The M-step: the model of a singer's harmonics, given how likely M2 is in each frame.
 *
 * Weighted penalised least squares with one answer. Each frame enters less rho times the frame
 * 100 ms before it (generalised least squares for a residual that drifts as a first-order
 * autoregression): what drifts slowly, vowel and articulation, counts for little; a step counts. */

#include "register/model.h"

#include <stdbool.h>

typedef struct regress_settings { /* the weights are 1 / dB^2, against whole frames */
    double rho;      /* 0.7: of the residual over 100 ms; 0.9 loses the level of the registers */
    double smooth_t; /* 1: of T's squared second differences; a formant spans 3 or 4 splines */
    double ridge_s;  /* 1e-4: S may be anything */
    double ridge_d;  /* 0.05: of D about what is expected, see model_expected_step(). In some voices
                         the first harmonic falls: a handful of flips may make it do so by 10 dB */
    double smooth_d; /* 1: of D's second differences from the second harmonic on */
    double ridge_a, ridge_e, ridge_c; /* 4, 100, 10: slopes of 0.5, 0.1 dB/dB, 0.3 dB/semitone */
    /* 20: with less voice smooth_t and ridge_c are larger in proportion. Few pitches are sung then,
     * and a tract that may bend as it likes, and a source that may follow the pitch, would take the
     * place of what a register does. */
    double full_s;
    /* 100: they are so many times larger in a model's first fit, if asked for. Registers that are
     * half right leave their step in the source then, not in the tract. */
    double begin_stiff;
    double shrink;   /* 0.25: share of the covariance's off-diagonal that is given up */
    double floor_db; /* 1: standard deviation that a residual has at least */
} regress_settings;
regress_settings regress_defaults(void);

/* What fits to one evidence have in common. */
typedef struct regression regression;
regression *regress_new(const evidence *ev, const regress_settings *s);
void regress_free(regression *g);

/* By how much vowels move what the model leaves at these registers, dB, as in register/vowels.h; 0
 * for no model. r[ev->n] is written to. */
double regress_vowels(regression *g, const model *m, const double *p2, float (*r)[HARMONICS]);

/* p2[ev->n]: probability of M2. Out: the model and r[ev->n], its design_residuals() at s = 0. A
 * model whose hi is 0 is begun anew, with a stiff tract if asked for, but for its vowels. These
 * are learnt, too, where they may change; r is then what they leave, too. Frames nearer than 20 ms
 * to an end of what is sung are left out. False when too few frames are left to determine
 * anything. */
bool regress_fit(regression *g, bool stiff, model *m, const double *p2, float (*r)[HARMONICS]);

/* The same r of a model that is fitted to other frames. p2 may be NULL where it has no vowels. */
void regress_apply(const evidence *ev, const model *m, const double *p2, float (*r)[HARMONICS]);

#endif
