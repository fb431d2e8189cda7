/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_FLIP_H
#define REGISTER_FLIP_H

/* A flip: the change from one laryngeal mechanism to the other. */

#include "register/cue.h"

#include <stddef.h>

#define FLIP_ASSERTED 0.5 /* the confidence from which a flip is asserted, not doubtful */

typedef enum flip_direction { FLIP_UP, FLIP_DOWN } flip_direction; /* M1 to M2; M2 to M1 */

/* A flip proper, or what looks like one: at a consonant, where the period doubles, out of or into
 * fry (M0) or whistle (M3). */
typedef enum flip_kind {
    FLIP_PROPER,
    FLIP_CONSONANT,
    FLIP_DOUBLING,
    FLIP_FRY,
    FLIP_WHISTLE,
    FLIP_KINDS
} flip_kind;
const char *
flip_kind_name(flip_kind k); /* "flip", "consonant", ... as in a table's column `kind` */

/* What a flip is known by: the program, or a person who added, moved or confirmed it. */
typedef enum flip_origin { FLIP_HEARD, FLIP_ADDED, FLIP_MOVED, FLIP_CONFIRMED } flip_origin;

typedef struct flip {
    double time_s; /* midpoint of the change, from the start of the take */
    flip_direction direction;
    double pitch_before_st,
        pitch_after_st; /* means of the 50 ms beside the span; NaN if unvoiced */
    double level_before_db, level_after_db; /* as above, on the track's own level scale */
    double span_ms;                         /* 10-90 % time of the change */
    double confidence;                      /* 0..1; >= 0.5 asserts the flip, lower is doubtful */
    /* Steps at time_s, what goes on on both sides taken out; NaN where a side has no voice. */
    double leap_cents;    /* of the pitch; down is negative */
    double level_step_db; /* of the level */
    double
        spectral_step_db; /* of the source: level of harmonic 1 over the mean of 2 to 8, as far as
                                the sound went from one register of this singer's to the other */
    int irregular_cycles; /* glottal cycles in and about the span, see voice/cycles.h */
    double seam_jnd;      /* how audible it is, in just noticeable differences: register/seam.h */
    flip_kind kind;       /* what else it is, which makes it doubtful */
    flip_origin origin;
    double cues[CUES]; /* what speaks for and against it; 0 where the sound is not at hand */
} flip;

typedef struct flips {
    size_t n, room;
    flip *items; /* in order of time */
} flips;

void flips_append(flips *f, flip item);
void flips_sort(flips *f);  /* by time */
void flips_clear(flips *f); /* frees items; n = 0 */

#endif
