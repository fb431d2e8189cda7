/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_RANGES_H
#define FIT_RANGES_H

/* Where each register was sung, whatever the boundary: the zone of both, and floor and ceiling of
 * level by register and pitch. Takes are the unit of every interval. */

#include "fit/boundary.h"

enum { ZONE_DB = 2, ZONE_ST = 1 }; /* size of a cell of the zone */

/* Area, semitones x dB, of the cells in which both registers were sung for 50 ms or more. It says
 * what these takes show and grows with takes. Interval: jackknife over takes with Student's t
 * (Efron & Tibshirani, An Introduction to the Bootstrap, ch. 11), not below 0; NaN ends with fewer
 * than three takes. No labelled frame: NaN. */
figure ranges_zone(const path *paths, size_t n);

typedef struct range {
    int reg;         /* 1 or 2 */
    double pitch_st; /* a whole semitone; frames within half of it */
    double seconds;
    size_t takes;
    figure floor_db, ceiling_db; /* 5th and 95th percentile of level */
} range;

/* Semitones at which a register was sung for 50 ms or more, by register, then pitch; the caller
 * frees *out. Intervals of the percentiles are Woodruff's (Journal of the American Statistical
 * Association 47:635, 1952) with takes as clusters: ends are levels that were sung, and NaN with
 * fewer than three takes. */
size_t ranges_of(const path *paths, size_t n, range **out);

#endif
