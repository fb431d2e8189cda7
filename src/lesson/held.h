/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_HELD_H
#define LESSON_HELD_H

/* Of one take: which of pitch, level and register moved, whether what was to be held was held, how
 * steady it was, and how far what was varied leaked into it. All but the register's share and the
 * flips is taken from the outlines of lesson/outline.h, vibrato taken out.
 *
 * Nothing here is better for being higher or louder. Thresholds: docs/held.md. */

#include "lesson/exercise.h"
#include "register/flip.h"
#include "voice/track.h"

#include <stdbool.h>

typedef struct held_settings {
    double pitch_st;       /* 1: a range (5-95 %) below it stays; a note is a semitone wide */
    double level_db;       /* 6: the same of the level */
    double register_share; /* 0.95 of the time in one register is holding it */
    double doubt;          /* 0.1: up to here the chance of a flip leaves the register as it was */
    double slope_st;       /* 2: less range of the pitch determines no dB per octave */
    double slope_db;       /* 4: less range of the level determines no cents per 10 dB */
    double least_s;        /* 0.5: less of the outline says nothing */
    double unnamed_s;      /* 2: so much voice with no register told has only one, which cannot be
                              named; see least_voice_s of register/decode.h */
    bool hummed;           /* false. True: the register of humming is not to be relied on */
} held_settings;
held_settings held_defaults(void);
/* Whether a vowel of this name is hummed: m, n or ng. */
bool held_hummed(const char *vowel);

typedef enum leak_unit {
    LEAK_NONE,
    LEAK_DB_PER_OCTAVE,
    LEAK_CENTS_PER_10_DB,
    LEAK_CENTS, /* step of the pitch at a change of register */
    LEAK_DB,    /* step of the level there */
    LEAK_FLIPS, /* where the register was to be held */
} leak_unit;
const char *leak_unit_name(leak_unit u); /* "dB/octave", ...; "" for none */

typedef struct held_score {
    double sung_s;    /* of the outline; under least_s everything below is 0 or NaN, all untold */
    int moved;        /* bits of lesson/exercise.h */
    int untold;       /* neither moved nor stayed: it cannot be told */
    int held, varied; /* of what was to be held, what was; of what was to be varied, what was */
    /* Standard deviations; NaN where that was varied, or moved without being meant to stay. */
    double pitch_steady_cents, level_steady_db;
    double pitch_range_st, level_range_db; /* 5 to 95 % */
    unsigned char reg;      /* the declared one, else the one most sung; 0: cannot be named */
    double register_share;  /* of the time whose register is told, 0..1; 1 where there is one
                               register that cannot be named; NaN: none is told */
    size_t flips, doubtful; /* asserted; doubtful, all of them where it is hummed */
    /* Slopes within stretches of one register; NaN where too little moves. */
    double db_per_octave, cents_per_10_db;
    /* Median size over asserted flips; NaN without. */
    double pitch_step_cents, level_step_db;
    /* The one of these that goes against what was held (see docs/held.md); NaN: none does. */
    double leak;
    leak_unit unit;
    double vibrato_hz, vibrato_cents; /* rate, and extent to either side; NaN without vibrato */
} held_score;

/* hold, vary: bits, or -1 where not stated. A take without voice is no error. */
held_score held_judge(const track *t, const flips *found, int hold, int vary,
                      const held_settings *s);

#endif
