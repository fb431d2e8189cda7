/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_DICE_H
#define VOICE_DICE_H

/* Random draws of the test voice: everything follows from one 64-bit seed.
 *
 * Each purpose has its own stream, so that a draw added to one changes nothing in the others.
 * The generator is GSL's mt19937: the same numbers on every machine. */

#include <gsl/gsl_rng.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

typedef enum dice_stream {
    DICE_SINGER, /* who sings */
    DICE_PLAN,   /* which takes */
    DICE_SCORE,  /* what is meant to be sung in a take */
    DICE_FLIPS,  /* thresholds, leaps, spans */
    DICE_DRIFT,  /* articulation, vibrato, wandering */
    DICE_SOURCE, /* jitter, shimmer, breath */
    DICE_ROOM    /* reflections, microphone noise */
} dice_stream;

gsl_rng *dice_new(uint64_t seed, uint64_t take, dice_stream stream); /* gsl_rng_free */

double dice_between(gsl_rng *r, double lo, double hi);
bool dice_chance(gsl_rng *r, double probability);
int dice_whole(gsl_rng *r, int lo, int hi); /* lo..hi, both included */
double dice_normal(gsl_rng *r, double sd);
/* Normal of mean 0 given that it exceeds `above`; `above` itself when that is past 4 sd. */
double dice_normal_above(gsl_rng *r, double sd, double above);

/* A slow Gaussian wander (Ornstein-Uhlenbeck, smoothed twice): n steps of step_s seconds, time
 * constant tau_s, standard deviation about sd. */
void dice_wander(gsl_rng *r, size_t n, double step_s, double tau_s, double sd, double *out);

/* A 64-bit seed from text (FNV-1a), for singers that are known by name. */
uint64_t dice_seed(const char *text);

#endif
