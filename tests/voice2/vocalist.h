/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_VOCALIST_H
#define VOICE2_VOCALIST_H

/* A singer of the second voice: what stays the same over all takes.
 *
 * Pitch in semitones (A4 = 69), level in dB re full scale (RMS of the clean voice). The voice in M1
 * flips up when pitch first exceeds edge_st + slope (level - middle_db) by that attempt's draw, a
 * logistic one of standard deviation scatter_st; in M2 it flips down lag_st lower. */

#include "voice2/cast.h"
#include "voice2/throat.h"

#include <stdint.h>

enum { VOCALIST_MAP = 41 };

typedef struct vocalist_source { /* one register */
    double h1h2_db;  /* of the pulse without its tilt, at the boundary and the middle level */
    double per_db;   /* its change for 1 dB of level */
    double per_st;   /* and for 1 semitone */
    double skew;     /* see glottis.h */
    double tilt_hz;  /* pole at the middle level */
    double tilt_oct; /* octaves by which it rises for 1 dB of level */
    double gain_db;  /* level re what is meant */
    double air_db;   /* breath noise re the voice */
    double open[VOCALIST_MAP]; /* open quotient for VOCALIST_H1H2_DB + i / 2 */
} vocalist_source;

#define VOCALIST_H1H2_DB (-4.0)

/* How a voice gets from one register to the other. */
typedef enum vocalist_turn {
    TURN_CYCLE,     /* in one or two cycles */
    TURN_RAMP,      /* evenly */
    TURN_OVERSHOOT, /* S-shaped, and beyond its goal at first */
    TURN_APPROACH,  /* at once, then ever slower */
    TURN_KINDS
} vocalist_turn;

typedef struct vocalist {
    cast_family family;
    uint64_t seed;
    bool woman;
    char vowel;
    int rate_hz, bits; /* of the files; 16, 24, or 32: float */
    double edge_st, slope, middle_db, scatter_st, lag_st;
    vocalist_source source[2]; /* M1, M2 */
    throat throat;             /* at rest, on `vowel` */
    double ring;               /* how far F3-F5 are drawn together, 0..1 */
    int tune;                  /* in M2 F1 is drawn to this harmonic; 0: not */
    double tune_share;         /* how far */
    double shorter_m2;         /* rise of all formants in M2, share */
    double f1_per_db;          /* rise of F1, share for 1 dB */
    double wander;             /* sd of slow formant movements, share */
    double ripple;             /* share of the tract's effect on level that is not sung away */
    double leap_st, leap_down, span_ms[2];
    double turns[TURN_KINDS]; /* odds */
    double settles; /* share of leaps after which the pitch comes back to what was meant */
    double dip_db;
    double ragged; /* share of flips with irregular cycles */
    double vibrato_hz, vibrato_st, vibrato_db;
    double jitter, shimmer_db;
    double pulsing;                /* share of breath noise that comes with the flow */
    double snr_db, hum_db, hum_hz; /* voice over noise and over mains hum; hum_db INFINITY: none */
    bool dry;
    double direct_db;
} vocalist;

vocalist vocalist_draw(cast_family f, uint64_t seed);

/* Open quotient, skew and tilt (Hz) at weight 0 (M1) .. 1 (M2). */
double vocalist_open(const vocalist *v, double weight, double pitch_st, double level_db,
                     double more_db);
double vocalist_skew(const vocalist *v, double weight);
double vocalist_tilt_hz(const vocalist *v, double weight, double level_db);
/* Source H1-H2 (dB), tilt included. */
double vocalist_h1h2_db(const vocalist *v, int reg, double pitch_st, double level_db);

/* The boundary without scatter. */
double vocalist_up_st(const vocalist *v, double level_db);
double vocalist_down_st(const vocalist *v, double level_db);

#endif
