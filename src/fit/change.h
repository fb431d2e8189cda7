/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_CHANGE_H
#define FIT_CHANGE_H

/* What a flip did to pitch and level: the old register's lines carried across it, the new one's
 * carried back, and how far on both sides the change itself shows in the frames. */

#include "fit/frames.h"

typedef struct side {
    level_pitch at, rate; /* at the flip's middle, and per second */
    double reach_s;       /* frames nearer than this to the middle belong to the change */
    size_t n;             /* frames behind the pitch */
} side;

typedef struct change {
    double last_s, middle_s, first_s; /* last old frame, first new one, and half-way */
    side old, new;
} change;

/* From the last frame of `old` to the first of `new`, two runs that follow each other. */
change change_between(const frames *f, const run *old, const run *new, const attempt_settings *s);
/* Pitch and level of a side at another time. */
level_pitch change_at(const change *c, const side *of, double time_s);

#endif
