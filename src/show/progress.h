/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_PROGRESS_H
#define SHOW_PROGRESS_H

/* Where a voice flipped from session to session: the boundary up and down at one level, or at soft,
 * middle and loud, over the days, each with its 95 % interval, and the trend where there is one to
 * draw; the hysteresis at the middle level, and the zone in which both registers were sung. */

#include "fit/course.h"
#include "show/picture.h"

typedef struct progress_labels {
    const char *singer, *vowel; /* any text; vowel may be "" */
    const char *level_scale;
    const char *first, *last; /* dates */
    double a4_hz;
    bool pitch_only; /* levels are not known */
} progress_labels;

typedef struct progress { /* at one level */
    const course *course; /* borrowed */
    double first_day;     /* since 1970-01-01 */
    scatter_fit trend[2]; /* by flip_direction */
    bool told[2];         /* there is a trend */
} progress;

progress progress_of(const course *c, double first_day, double assumed_scatter_st);

/* Whether the flips up and down moved, by how much, or what change would have shown; and what
 * scatter was found or assumed. Two to four sentences, one a line. The caller frees. */
char *progress_words(const progress *p, const progress_labels *labels);

enum { PROGRESS_LEVELS = 3 };
typedef struct progress_levels {
    size_t n;                        /* 1 or 3 */
    course courses[PROGRESS_LEVELS]; /* at the middle level, softer, louder */
    figure *zones;                   /* of each session, ranges_zone() */
    double first_day, assumed_scatter_st;
} progress_levels;

void progress_levels_clear(progress_levels *p); /* sets n to 0 */

/* The words are those of the middle level. */
bool progress_draw(const progress_levels *p, const progress_labels *labels, const picture *where,
                   err *e);

#endif
