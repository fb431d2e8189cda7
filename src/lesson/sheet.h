/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_SHEET_H
#define LESSON_SHEET_H

/* Today's exercises: from what a singer has sung and where the voice flips to a list in the order
 * in which they are sung: loosening, the three free explorations, six pairs (hold one, vary one),
 * three combined (hold two, vary the third), and settling: about a quarter of an hour.
 *
 * Every note lies where that register was sung at that level, below the loudest. Where the map has
 * no place for an exercise its line stays, without notes: what is free is then done wherever it is
 * easy, the rest has no minutes. Rules, each
 * with its source or "common practice, no source": docs/sheet.md. Words: lesson/sheet_words.h. */

#include "lesson/exercise.h"
#include "lesson/places.h"

typedef enum sheet_part {
    SHEET_LOOSEN,
    SHEET_EXPLORE,
    SHEET_PAIRS,
    SHEET_COMBINED,
    SHEET_SETTLE,
    SHEET_PARTS
} sheet_part;

/* What is sung without a break: pitch and level go evenly from one end to the other. */
typedef struct sheet_stroke {
    int reg; /* 1, 2; 0: whichever comes, one of them was sung at every note */
    int from_st, to_st;
    double from_db, to_db;
    double seconds;
    bool breath; /* before it */
} sheet_stroke;

/* Why a line is where it is; which of a line's figures are given stands beside it. */
typedef enum sheet_rule {
    RULE_BELOW_FLIP,   /* loosen, settle: flip_st: the flip back there, NaN: not told */
    RULE_ACROSS,       /* explore pitch: flip_st, back_st at db */
    RULE_ROOM,         /* explore level: room, the widest of chest voice */
    RULE_ZONE,         /* explore register, vary register hold pitch: up to 3 notes, the middle's
                           floors and ceilings */
    RULE_CHEST_LEVEL,  /* vary pitch hold level: chest */
    RULE_KEEP,         /* vary pitch hold register: chest, low */
    RULE_START_LIGHT,  /* vary level hold pitch: zone[0], room, turn_db */
    RULE_WIDE_SWELL,   /* vary level with the register held: wide[2] */
    RULE_MATCH,        /* vary register hold level: matched */
    RULE_LIGHT_LOW,    /* vary pitch, hold level and register: low, chest */
    RULE_SHARED_LEVEL, /* vary register, hold pitch and level: zone[0], room */
    RULE_RULES
} sheet_rule;

enum { SHEET_STROKES = 8, SHEET_ZONE = 3 };

typedef struct sheet_line {
    sheet_part part;
    const exercise *exercise; /* NULL: loosen, settle */
    double minutes;           /* 0: left out */
    size_t n_strokes;
    sheet_stroke strokes[SHEET_STROKES];
    sheet_rule rule;
    double db, flip_st, back_st;
    double
        turn_db[2]; /* by flip_direction: the level at which it flips on zone[0]; NaN: not told */
    chest_level chest;
    light_low low;
    wide_swell wide[2]; /* M1, M2 */
    size_t n_zone, n_matched;
    int zone[SHEET_ZONE];
    matched matched[3];
    places_room room;
} sheet_line;

enum { SHEET_LINES = EXERCISES + 2 };
typedef struct sheet {
    sung_voice sung;               /* what it was planned from */
    sheet_line lines[SHEET_LINES]; /* all of them, in order */
    double minutes;                /* of all lines */
} sheet;

sheet sheet_plan(const sung_voice *s);

const char *sheet_part_name(sheet_part p); /* "Loosen", ... */

#endif
