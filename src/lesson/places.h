/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_PLACES_H
#define LESSON_PLACES_H

/* Where on a singer's map an exercise has its place. All notes are whole semitones that the singer
 * has sung in that register at that level. No level comes nearer than 3 dB to the loudest sung at
 * its note, and none is louder than the singer's own loud. Rules: docs/sheet.md. */

#include "lesson/sung.h"

static const double PLACES_SPARE_DB = 3; /* stays below the loudest; common practice, no source */
static const double PLACES_SOFT_DB = 1;  /* stays above the softest; the same */

/* Levels between which a note can swell in a register; hi < lo: there are none. */
typedef struct places_room {
    double lo_db, hi_db;
} places_room;
places_room places_room_of(const sung_voice *s, int reg, int st);
/* Sung at this level, and not above that room: what is held may be as soft as it was sung. */
bool places_easy(const sung_voice *s, int reg, int st, double db);

/* The level at which chest voice reaches the transition without force: the middle level if there,
 * at a note no more than two semitones below the flip, chest voice has room; else the next lower
 * level at which it has. */
typedef struct chest_level {
    bool found;          /* false: no level with chest voice over three semitones */
    bool reaches;        /* false: at no such level; then the highest of the levels up to the middle
                            with room on three semitones in a row, below the transition */
    int from_st, top_st; /* chest voice has room from here to there; at most 7 semitones */
    double db, flip_st;  /* flip_st NaN: not told */
    double spare_db;     /* at top_st, below the loudest */
} chest_level;
chest_level places_chest(const sung_voice *s);

/* The lowest note at which light voice still holds the middle level, with three semitones in a row
 * from there on; where it never holds it, the next lower level that it holds. Notes at which it
 * would flip back are left out. */
typedef struct light_low {
    bool found, lowered; /* lowered: not the middle level */
    int lo_st, hi_st;    /* light voice has room from here to there, at most 7 semitones */
    double db, flip_st;  /* where it flips back at that level; NaN: not told */
} light_low;
light_low places_light_low(const sung_voice *s);

/* The lowest note of a register with three quarters of the widest room for a swell that any of its
 * notes has; in M2 those above the flip back at its loud end, in M1 those below the flip at its
 * soft end. room.hi_db < room.lo_db: none. */
typedef struct wide_swell {
    int st;
    places_room room;
} wide_swell;
wide_swell places_wide(const sung_voice *s, int reg);

/* Notes that were sung in both registers. First come those at which both have room at the middle
 * level or softer, and of these the nearest to the middle of the zone: midway between flip and flip
 * back at the middle level, or midway between the ends of the zone where these are not told.
 * Returns how many, at most `most`, into st[]. */
size_t places_zone(const sung_voice *s, int *st, size_t most);
/* Levels at which both registers have room there. */
places_room places_shared(const sung_voice *s, int st);

/* A low chest note, the lowest that has room for as many of the levels as any, and the light note
 * that matches its level: the lowest above it at which light voice has room for that level. */
typedef struct matched {
    int chest_st, light_st;
    double db;
} matched;
/* Softer to louder, light notes never falling; at most three, into out[]. */
size_t places_matched(const sung_voice *s, matched *out);

/* The stretch about the transition in which every note was sung at this level, in one register or
 * the other, and louder too by PLACES_SPARE_DB, at most `below` and `above` semitones from where
 * the voice flips; false: none of four semitones or more. */
bool places_across(const sung_voice *s, double db, int below, int above, int *lo_st, int *hi_st);

#endif
