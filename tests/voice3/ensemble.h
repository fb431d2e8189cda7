/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE3_ENSEMBLE_H
#define VOICE3_ENSEMBLE_H

/* The singers of the third voice and what they are asked for in a take: a tension of the folds and
 * a pressure of the lungs over time. Whether they flip, and where, nobody has asked.
 *
 * The folds' parameters were found by drawing at random and keeping sets in which a slow rise and
 * fall of the tension alone changes contact and frequency of a sudden, once on either way, and the
 * motion is periodic otherwise; and fixed before the program had heard any of them. Each singer's
 * bound of contact lies between its two ways of moving. */

#include "voice3/cover.h"

#include <gsl/gsl_rng.h>
#include <stdint.h>

typedef enum ensemble_singer {
    ENSEMBLE_LEAPING, /* a man, some four semitones */
    ENSEMBLE_LOW,     /* a man with a low break */
    ENSEMBLE_SEAM,    /* a small leap, some contact in both registers */
    ENSEMBLE_WOMAN,
    ENSEMBLE_COUPLED,       /* a man whose folds feel the waves in tract and windpipe */
    ENSEMBLE_COUPLED_WOMAN, /* likewise; most of her registers go over little by little */
    ENSEMBLE_STILL,         /* from here on without a flip */
    ENSEMBLE_CHEST = ENSEMBLE_STILL,
    ENSEMBLE_SINGERS
} ensemble_singer;

enum { ENSEMBLE_TAKES = 8, ENSEMBLE_VOWEL = 11 };

typedef struct ensemble_row {
    const char *name;
    cover folds;
    double pressure_pa;         /* the usual one */
    double slack, middle, taut; /* tensions: lowest, between the two breaks, highest */
    double contact;             /* M1: more of the folds' depth touches over a cycle */
    double tract_m, windpipe_m, coupled;
    const double *area_cm2; /* ENSEMBLE_VOWEL of them, from the folds to the lips */
} ensemble_row;

const ensemble_row *ensemble_get(ensemble_singer s);

typedef struct gesture {
    const char *kind; /* as in takes.tsv: slide, siren, swell, hold */
    double seconds;
    double tension[2], pressure_pa[2]; /* from, to; siren and swell come back */
} gesture;

/* Take 0..ENSEMBLE_TAKES - 1. */
gesture ensemble_gesture(ensemble_singer s, uint64_t seed, int take);

/* Tension and pressure at a time; no pressure at the ends. */
void gesture_at(const gesture *g, double time_s, double *tension, double *pressure_pa);

/* One take's draws for a purpose; gsl_rng_free. */
gsl_rng *ensemble_draws(ensemble_singer s, uint64_t seed, int take, int purpose);

#endif
