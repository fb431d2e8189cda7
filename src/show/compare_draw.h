/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_COMPARE_DRAW_H
#define SHOW_COMPARE_DRAW_H

/* The picture of several singers: their boundaries on one plane, and by how much each differs from
 * the first, soft, middle and loud. In a terminal their maps one below the other. */

#include "show/map.h"

enum { COMPARE_LEVELS = 3, COMPARE_NAME = 24 }; /* characters of a name that are shown */

/* Semitones more than the first, by level and flip_direction; NaN: not told. */
typedef struct compare_difference {
    figure at[COMPARE_LEVELS][2];
} compare_difference;

typedef struct compare_shown {
    size_t n; /* singers, at least two */
    const char *const *names;
    const map *maps; /* [n] */
    size_t n_levels; /* 1 or 3 */
    const double *at_db;
    const struct compare_difference *differences; /* [n - 1] of the second on */
} compare_shown;

/* labels->words go beneath. */
bool compare_draw(const compare_shown *c, const map_labels *labels, const picture *where, err *e);
int compare_height_px(size_t singers); /* for 1200 px across */

#endif
