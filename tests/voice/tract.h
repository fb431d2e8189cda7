/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_TRACT_H
#define VOICE_TRACT_H

/* The vocal tract: a cascade of resonators of gain 1 at 0 Hz (Klatt 1980), the first five at the
 * vowel's formants, the higher ones at a tube's spacing up to half the sampling rate.
 *
 * Sung formants: the table of facts for bass, tenor, alto and soprano in the Csound manual; spoken
 * ones: Hillenbrand et al. 1995, averages of men and women (both partly from memory). */

#include "voice/lf.h"

#include <gsl/gsl_rng.h>
#include <stdbool.h>
#include <stddef.h>

enum { TRACT_VOWEL = 5, TRACT_MOST = 28 };

typedef struct tract {
    int n;                   /* resonators, 5..TRACT_MOST */
    double spacing_hz;       /* of the resonances above the vowel's */
    double f_hz[TRACT_MOST]; /* rising */
    double b_hz[TRACT_MOST]; /* 3 dB bandwidths */
} tract;

/* vowel is one of "aeiou", else false. The singer's own scaling of formants (+-8 %) and
 * bandwidths is drawn from `dice`. */
bool tract_draw(gsl_rng *dice, bool woman, char vowel, int rate_hz, tract *out);

/* Adds or takes away resonators above the vowel's, so that they fill another rate's band. */
void tract_extend(tract *t, int rate_hz);

typedef struct tract_state { /* what the resonators remember, and their coefficients */
    double y1[TRACT_MOST], y2[TRACT_MOST];
    double a[TRACT_MOST], b[TRACT_MOST], c[TRACT_MOST];
    double b_step[TRACT_MOST], c_step[TRACT_MOST]; /* change a sample */
} tract_state;
/* Sets the coefficients at once. */
void tract_tune(tract_state *s, const tract *t, double rate_hz);
/* Lets the first TRACT_VOWEL resonators glide, within the next n samples, to where t has them. */
void tract_glide(tract_state *s, const tract *t, double rate_hz, size_t n);
/* Filters n samples in place, highest resonator first: what a moving coefficient stirs up is then
 * not raised by the resonators above it. */
void tract_run(tract_state *s, const tract *t, double *samples, size_t n);
/* Gain in dB at f_hz as tuned. */
double tract_gain_db(const tract_state *s, const tract *t, double f_hz, double rate_hz);
/* Level (dB, RMS) of LF pulses of Ee = 1 at pitch_st through the tract, harmonics up to 6 kHz. */
double tract_pulses_db(const tract *t, const lf_pulse *pulse, double pitch_st, double rate_hz);

#endif
