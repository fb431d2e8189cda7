/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_THROAT_H
#define VOICE2_THROAT_H

/* The second voice's tract: resonators run in the time domain, in cascade or in parallel, as
 * trapezoidal state-variable filters, whose coefficients may move with every sample.
 *
 * Formants of spoken vowels: Peterson & Barney 1952 (JASA 24:175) for a e i u, Hillenbrand et al.
 * 1995 (JASA 97:3099) for o; from memory. Bandwidth of F1 with the glottis closed: Fant 1962,
 * 15 (500/F)^2 + 20 (F/500)^0.5 + 5 (F/500)^2 Hz, from memory; above F1 grow the losses with
 * frequency. While the glottis is open F1 and F2 are damped more, cycle by cycle. */

#include <stdbool.h>
#include <stddef.h>

enum { THROAT_FORMANTS = 8, THROAT_VOWEL = 3, THROAT_SECTIONS = THROAT_FORMANTS + 1 };

typedef struct throat {
    double f_hz[THROAT_FORMANTS], b_hz[THROAT_FORMANTS]; /* b with the glottis closed */
    double open_hz; /* added to the bandwidth of F1, a third to F2, when wide open */
    bool parallel;  /* else in cascade */
    double odd_db[THROAT_FORMANTS];   /* parallel: amplitude of each re that of a cascade */
    double pole_hz, zero_hz, pair_hz; /* a pair from below the glottis or the nose, and its
                                         bandwidth; pole_hz 0: none */
} throat;

/* F1..F3 of a spoken vowel (one of aeiou, else false). */
bool throat_vowel(bool woman, char vowel, double f_hz[THROAT_VOWEL]);
/* Closed-glottis bandwidths for all of f_hz, `wide` times the usual. */
void throat_bandwidths(throat *t, double wide);

/* Gain (linear) at f_hz for a glottis open by `open` (0..1), run at rate_hz. */
double throat_gain(const throat *t, double open, double f_hz, double rate_hz);
/* gain[n] of f_hz and of its multiples. */
void throat_gains(const throat *t, double open, double f_hz, double rate_hz, size_t n,
                  double *gain);

typedef struct throat_run { /* memory and coefficients of a running tract */
    double s1[THROAT_SECTIONS], s2[THROAT_SECTIONS];
    double g[THROAT_SECTIONS], k[THROAT_SECTIONS], amp[THROAT_FORMANTS];
    bool set;
} throat_run;

/* Filters n samples in place; coefficients glide from where they are to those of t (the first call
 * sets them at once). opening[i] 0..1 is how far the glottis is open. */
void throat_filter(throat_run *run, const throat *t, double rate_hz, const double *opening,
                   double *samples, size_t n);

#endif
