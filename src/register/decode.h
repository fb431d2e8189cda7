/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_DECODE_H
#define REGISTER_DECODE_H

/* The register of every voiced frame and the flips, from all of one singer's takes of a vowel.
 *
 * In: tracks[n] with pitch, level and harmonics. Out: their reg and p_m2, and found[n], the flips
 * of each take (doubtful ones too). What cannot be told stays 0 / NaN, and `summary` says why.
 * Method and sources: docs/method.md. */

#include "base/message.h"
#include "register/flip.h"
#include "voice/track.h"

typedef struct register_settings {
    /* Log-likelihood that flips must gain over none before a singer is said to have two registers:
     * 12 nats, and 1.4 for each second of voice. On tuning voices 8-10 takes with flips gain 2.5-7
     * a second, single takes with one 3-8; takes cut before their first flip 0.3-4.6, and 14 of 24
     * singers stay below. */
    double least_gain, least_gain_per_s;
} register_settings;
register_settings register_defaults(void);

typedef enum register_answer {
    REGISTER_BOTH,        /* both registers were heard */
    REGISTER_ONE,         /* one register in all takes, and which one is known (declared) */
    REGISTER_ONE_UNNAMED, /* one register in all takes; which one cannot be told */
    REGISTER_TOO_LITTLE   /* too little voice to tell */
} register_answer;

typedef struct register_summary {
    register_answer answer;
    double voiced_s;  /* seconds of voice in all takes */
    char text[256];   /* the same in one sentence for the singer */
    double gain_nats; /* log-likelihood that flips gain over none; NaN when too little voice */
} register_summary;

/* n = 0 or no voice: answers REGISTER_TOO_LITTLE, no flips. `found` must be n empty lists. */
void register_decode(track *const *tracks, size_t n, const register_settings *s, flips *found,
                     register_summary *summary);

#endif
