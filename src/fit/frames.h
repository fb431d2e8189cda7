/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_FRAMES_H
#define FIT_FRAMES_H

/* The frames of a take that can be trusted, and the stretches of one register that they make.
 *
 * Kept are frames with a register, a pitch and a level that is no silence. Dropped are frames
 * that stand alone against their neighbours (a tracker's octave error), register runs too short
 * to be one, and the soft edges of voicing. Thresholds: docs/boundary.md. */

#include "fit/attempts.h"

typedef struct frame {
    double time_s, pitch_st, level_db;
    double p_m2;       /* NaN when there is none */
    unsigned char reg; /* 1 or 2 */
} frame;

typedef struct run { /* frames[first .. first + n - 1], n >= 1, all of one register */
    size_t first, n;
} run;

typedef struct frames {
    size_t n, n_runs;
    double step_s; /* median time between frames of the table; 0 when there is one frame */
    frame *items;
    run *runs; /* in order of time; neighbours of the same register are parted by a silence */
} frames;

frames frames_kept(const path *p, const attempt_settings *s);
void frames_clear(frames *f);

#endif
