/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_WORLDS_H
#define FIT_WORLDS_H

/* What may be true, after the takes so far: parameters drawn from the penalised likelihood by
 * sampling, importance resampling (Rubin 1988), since a covariance knows nothing of what a take
 * without a flip has ruled out. */

#include "fit/estimate.h"

enum { WORLDS = 32 };

typedef struct world {
    double theta[MAXIMUM_PARAMETERS];
    /* Between both boundaries either register may be sung: probability that a take which begins
     * there begins in M1, by Laplace's rule of succession from those that did by these boundaries;
     * 1 where flips down are not known. */
    double starts_in_m1;
} world;

/* The estimate is settled; by a fixed seed. */
void worlds_draw(const estimate *e, world out[WORLDS]);

/* How far beyond the boundary of a fitted direction, as attempts see it, st. */
double world_beyond(const world *w, const estimate *e, flip_direction d, const threshold_point *p);

#endif
