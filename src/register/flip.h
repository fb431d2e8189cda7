/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_FLIP_H
#define REGISTER_FLIP_H

/* A flip: the change from one laryngeal mechanism to the other. */

#include <stddef.h>

#define FLIP_ASSERTED 0.5 /* the confidence from which a flip is asserted, not doubtful */

typedef enum flip_direction { FLIP_UP, FLIP_DOWN } flip_direction; /* M1 to M2; M2 to M1 */

typedef struct flip {
    double time_s; /* midpoint of the change, from the start of the take */
    flip_direction direction;
    double pitch_before_st,
        pitch_after_st; /* means of the 50 ms beside the span; NaN if unvoiced */
    double level_before_db, level_after_db; /* as above, on the track's own level scale */
    double span_ms;                         /* 10-90 % time of the change */
    double confidence;                      /* 0..1; >= 0.5 asserts the flip, lower is doubtful */
} flip;

typedef struct flips {
    size_t n, room;
    flip *items; /* in order of time */
} flips;

void flips_append(flips *f, flip item);
void flips_sort(flips *f);  /* by time */
void flips_clear(flips *f); /* frees items; n = 0 */

#endif
