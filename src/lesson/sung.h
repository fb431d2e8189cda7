/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_SUNG_H
#define LESSON_SUNG_H

/* What a singer has sung, as exercises need it: of each register the notes and, at each, floor and
 * ceiling of the level; what is soft, middle and loud to this singer; where the voice flips.
 *
 * Soft edges of voice, where it begins and dies away, are left out of the levels (fit/frames.h), so
 * that a breath at the end of a take is no soft note. A note counts when it was sung for 150 ms,
 * and hangs together with the note that was sung longest in its register: what lies apart is mostly
 * misheard. (Common practice, no source.) */

#include "fit/boundary.h"

#include <stdbool.h>
#include <stddef.h>

enum { SUNG_LOW_ST = 12, SUNG_HIGH_ST = 120, SUNG_NOTES = SUNG_HIGH_ST - SUNG_LOW_ST + 1 };

typedef struct sung_register {
    int lo_st, hi_st; /* whole semitones, each of which was sung; lo > hi: none */
    /* By note, [st - SUNG_LOW_ST], where sung: 5th and 95th percentile of level. */
    double floor_db[SUNG_NOTES], ceiling_db[SUNG_NOTES];
} sung_register;

typedef struct sung_line {
    double at_db, pitch_st, slope; /* pitch_st at at_db, rising by slope st/dB; NaN: not told */
    double curve;                  /* st/dB^2: x dB above at_db it is so much times x^2 higher */
} sung_line;

/* Where levels are not known they are -12, 0 and 12 for soft, middle and loud; chest voice goes
 * from -15 to 15, light voice to less on its lowest notes: words are made of them, never figures.
 * */
typedef struct sung_voice {
    bool from_map;                      /* false: notes that most voices can sing */
    bool levels_known;                  /* false: automatic gain, or no map */
    bool levels_are_spl;                /* dB SPL at 30 cm, else dB re session median */
    sung_register reg[2];               /* M1, M2 */
    double soft_db, middle_db, loud_db; /* as in fit/plan.h */
    sung_line flips[2];                 /* by flip_direction */
} sung_voice;

/* From all takes of a singer's vowel, and the boundary of those that count, or NULL. levels_known
 * false: the levels in paths are not looked at. False when no note of either register was sung, and
 * *out is then that of sung_default(). */
bool sung_gather(const path *paths, size_t n, const boundary *b_or_null, bool levels_known,
                 bool levels_are_spl, sung_voice *out);

/* For a singer without a map: chest voice G3 to E4, light voice D4 to A4, which men and women
 * mostly have, about the usual place of the flip (D4 to G4 in men and women alike: Titze,
 * Principles of Voice Production, 1994, from memory). */
sung_voice sung_default(void);

/* Whether the register was sung there: within half a semitone, and from floor to ceiling. */
bool sung_at(const sung_voice *s, int reg, double st, double db);
bool sung_note(const sung_voice *s, int reg, int st);      /* at whatever level */
double sung_floor(const sung_voice *s, int reg, int st);   /* of a note that was sung */
double sung_ceiling(const sung_voice *s, int reg, int st); /* the same */

/* Where the voice flips at a level; NaN: not told. */
double sung_flip(const sung_voice *s, flip_direction d, double db);
/* The level at which it flips on this pitch, where the line rises; NaN: not told, or it does not.
 */
double sung_flip_level(const sung_voice *s, flip_direction d, double st);

#endif
