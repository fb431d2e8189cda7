/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_PLAN_H
#define FIT_PLAN_H

/* Which takes to record next: those of which the fitted model expects most.
 *
 * A candidate is a slide across the boundary at one level, or a swell on one pitch, within what the
 * singer has sung with ease. Its expected (Fisher's) information is the mean outer product of the
 * score over takes sung by the fitted model itself, with a fixed seed; added to the precision of
 * the boundary as it is, it gives the interval to come. Takes are chosen one after the other, each
 * given those before it. */

#include "fit/boundary.h"

typedef enum plan_kind { PLAN_SLIDE, PLAN_SWELL } plan_kind;

/* There and back: a slide from_st to to_st at one level, a swell from_db to to_db on one pitch. */
typedef struct plan_take {
    plan_kind kind;
    double from_st, to_st, from_db, to_db;
    double now_st, then_st; /* mean width of the 95 % interval of the boundary going up, at soft,
                               middle and loud, before this take and after it; NaN: not told yet */
} plan_take;

/* What the singer has sung: 1st and 99th percentile of pitch, 10th, 50th and 90th of level, over
 * the voiced frames. Nothing louder, softer, higher or lower is asked for. */
typedef struct plan_reach {
    double lo_st, hi_st, soft_db, middle_db, loud_db;
} plan_reach;
/* False when there is no voiced frame. */
bool plan_reach_of(const path *paths, size_t n, plan_reach *out);

/* The next n takes, best first, into out[n]; levels are those of b. Where b does not tell the flip
 * up (or is NULL): slides over the whole reach, loud, soft and middle in turn, with NaN widths.
 * The interval after a take is that of the precision alone; that Student's factor falls too comes
 * on top. */
void plan_next(const boundary *b_or_null, const plan_reach *r, size_t n, plan_take *out);

#endif
