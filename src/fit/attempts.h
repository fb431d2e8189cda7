/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_ATTEMPTS_H
#define FIT_ATTEMPTS_H

/* Attempts: stretches in which one register lasted, and how each ended.
 *
 * In: one take as labelled frames. Out: for each stretch in M1 an up-attempt, in M2 a
 * down-attempt, with its start, the frames at which the running maximum of
 * z = pitch - f(level) (up; mirrored down) may lie for any line f within +-2 st/dB (their convex
 * hull) and for parabolas bent by up to 0.03 st/dB^2, and, where the other register followed, the
 * flip: what pitch and level the old register would have had in the first frame of the new one,
 * without the leap. Method and the reason of every threshold: docs/boundary.md. No labelled frame:
 * nothing is appended. */

#include "fit/boundary.h"

typedef struct level_pitch {
    double level_db, pitch_st;
} level_pitch;

typedef struct attempt {
    size_t path;              /* index of its take */
    flip_direction direction; /* FLIP_UP: in M1 */
    bool flipped;             /* false: the stretch ended in silence or with the take */
    double seconds;           /* it lasted */
    level_pitch start;        /* first frame of the stretch */
    size_t first, n_hull;     /* in attempts.hull */
    /* Where flipped: */
    double time_s;         /* midway between the last old and the first new frame */
    double weight;         /* 0..1, probability that it is a flip; 1 without p_m2 */
    level_pitch crossing;  /* old register's in the first new frame */
    level_pitch rate;      /* dB/s, st/s, of the old register's */
    level_pitch before;    /* old register's at time_s */
    double pitch_after_st; /* new register's at time_s; NaN when too short to tell */
    double level_after_db; /* the same */
} attempt;

typedef struct attempts {
    size_t n, room;
    attempt *items; /* in order of path, then time */
    size_t n_hull, hull_room;
    level_pitch *hull;
} attempts;

typedef struct attempt_settings {
    double gap_s;      /* 0.25: a longer silence ends the attempt (a breath, not a consonant) */
    double shortest_s; /* 0.04: shorter register runs are labelling noise */
    double range_db;   /* 45: below a take's loud (90th percentile) level there is no voice */
    double edge_s;     /* 0.06: at onset and release of voice frames are dropped for as long as */
    double edge_db;  /* 3: they are so much softer than the frames edge_s to 2 edge_s further in, */
    double cliff_db; /* 10: or out to where the level falls by so much, */
    double release_s; /* 0.6: for so long at the most (an echo's tail is no decrescendo) */
    double leap_s;    /* 0.075: how far from the labelled flip the leap may already show */
    double line_s;    /* 0.06: stretch whose line carries the pitch across the flip */
    double level_s;   /* 0.2: the same for level, which wavers with the harmonics over formants */
} attempt_settings;
attempt_settings attempt_defaults(void);

/* Appends the attempts of paths[index]; times must increase. */
void attempts_append(attempts *a, const path *p, size_t index, const attempt_settings *s);
void attempts_clear(attempts *a); /* frees; n = 0 */

#endif
