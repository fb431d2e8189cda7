/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_SINGER_H
#define VOICE_SINGER_H

/* Who sings: everything about a test voice that stays the same over its takes.
 *
 * Drawn from a family and a seed; every field may be changed afterwards (the scenarios do).
 * Pitch in semitones (A4 = 69), level in dB re full scale (RMS of the clean voice). */

#include "voice/families.h"
#include "voice/lf.h"
#include "voice/tract.h"

#include <stdbool.h>
#include <stdint.h>

/* In M1 the voice flips up when pitch - (pitch_st + slope (level - level_db)) first exceeds a draw
 * of N(0, spread), one draw an attempt; in M2 it flips down when that, plus the hysteresis, first
 * falls below such a draw. Pitch and level are those of the register that is left. */
typedef struct singer_boundary {
    double pitch_st;   /* of up-flips at level_db */
    double slope;      /* st/dB, shared by both directions */
    double level_db;   /* where the pitches are stated: the singer's middle level */
    double spread;     /* st */
    double hysteresis; /* st; down-flips lie this much lower */
} singer_boundary;

typedef struct singer_source { /* one register */
    double h1h2_db;            /* of the source, at the middle level and the boundary's pitch */
    double per_db;             /* change of that for 1 dB of level (negative: louder is flatter) */
    double per_st;             /* and for 1 semitone */
    double ra_factor;          /* return phase re Fant's */
    double gain_db;            /* level re what is meant */
    double noise_db;           /* breath re voice */
    lf_map map;                /* for ra_factor */
} singer_source;

typedef struct singer {
    family family;
    uint64_t seed;
    bool woman;
    char vowel;
    int rate_hz;
    singer_boundary boundary;
    singer_source source[2]; /* M1, M2 */
    tract tract;
    double articulation; /* sd of slow formant wander, share */
    double f1_per_db;    /* rise of F1 with level, share/dB */
    double f1_follow;    /* F1 is kept above this many times f0 */
    double shorter_m2;   /* rise of all formants in M2, share: the larynx stands higher */
    double damping;      /* widening of F1 and F2 by the open glottis, per period of openness */
    double ripple;       /* share of the resonances' effect on level that is not sung away */
    double leap_st, leap_down; /* usual leap up; down-leaps re it */
    double span_ms[2];
    double settle; /* share of leaps from which the voice comes back to what was meant */
    double dip_db; /* deepest dip of level in a flip */
    double rough;  /* jitter just after a flip, times the usual */
    double vibrato_hz, vibrato_st, vibrato_db;
    double jitter, shimmer_db; /* sd: share of a period; dB */
    double pulsing;            /* how far the breath noise follows the glottal flow, 0..1 */
    double snr_db;             /* take over microphone noise */
    bool dry;
    double direct_db, rt60_s; /* room, when not dry */
} singer;

singer singer_draw(family f, uint64_t seed);
/* The same with sex and vowel given (vowel one of aeiou). */
singer singer_draw_as(family f, uint64_t seed, bool woman, char vowel);
bool singer_draws_woman(family f, uint64_t seed);

/* Rd, or any other quantity, between the registers: weight 0 is M1, 1 is M2. */
double singer_rd(const singer *s, double weight, double pitch_st, double level_db, double more_db);
double singer_ra_factor(const singer *s, double weight);

/* The boundary's pitch at a level, without scatter. */
double singer_up_st(const singer *s, double level_db);
double singer_down_st(const singer *s, double level_db);

#endif
