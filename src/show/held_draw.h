/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_HELD_DRAW_H
#define SHOW_HELD_DRAW_H

/* How steadily pitch and level were held and what leaked into them: a point a take, over the days
 * or, of recordings, over their numbers, and the median of each day. */

#include "lesson/held.h"
#include "show/picture.h"

#include <stddef.h>

typedef enum held_panel {
    HELD_PITCH_STEADY, /* cents */
    HELD_LEVEL_STEADY, /* dB */
    HELD_LEVEL_LEAK,   /* dB per octave */
    HELD_PITCH_LEAK,   /* cents per 10 dB */
    HELD_PANELS
} held_panel;

typedef struct held_point {
    double x;                  /* days since 1970, or the number of the recording */
    double value[HELD_PANELS]; /* NaN: none */
    bool lost[HELD_PANELS];    /* it was to be held, and was not */
} held_point;

typedef struct held_chart {
    const char *singer; /* any text */
    bool by_date;
    size_t n;
    const held_point *points; /* [n], x rising */
} held_chart;

/* hold: bits, or -1 where not stated. */
held_point held_point_of(double x, const held_score *h, int hold);

/* The medians, in sentences; the caller frees. */
char *held_words(const held_chart *c);

/* A panel without any value says so, which is no failure. */
bool held_draw(const held_chart *c, const picture *where, err *e);

#endif
