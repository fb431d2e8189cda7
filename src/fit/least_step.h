/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_LEAST_STEP_H
#define FIT_LEAST_STEP_H

/* The place on the boundary where the level steps least when the voice flips.
 *
 * The size of the step in level of each sure flip is regressed on the flip's level and its square;
 * the place is the lowest point of that parabola, its interval Fieller's (Journal of the Royal
 * Statistical Society B 16:175, 1954) for the ratio -b / 2c. */

#include "fit/boundary.h"

/* In dB on the boundary's level scale; what cannot be told is NaN with a reason, one that the
 * caller frees, in *reason (else NULL): fewer than six flips, no bend that the data tell, or a
 * lowest point beyond the levels at which the voice flipped. */
figure least_step(const boundary *b, flip_direction d, char **reason);

#endif
