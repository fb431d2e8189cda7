/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_REFINE_H
#define REGISTER_REFINE_H

/* The place and the width of one flip, from what the frames about it say.
 *
 * A smooth ramp of width w at time tau, on a straight trend, is fitted by weighted least squares
 * to the register coordinate z / mass of the frames, whose step has a prior of one register. Pitch
 * and level speak by how they change from frame to frame, beside how they usually do about there.
 * What is left of every pair of tau and w weighs it, and the answer is the mean: one best fit alone
 * follows the noise of a smooth seam. */

#include "register/evidence.h"
#include "register/model.h"
#include "register/turns.h"

#include <stdbool.h>

typedef struct refined {
    double time_s;  /* midpoint of the change */
    double span_ms; /* its 10-90 % time, with the analysis window's own spread taken out */
} refined;

/* `first`..`last` (indices into the evidence) bound what may be looked at, `at` is the first frame
 * of the new register, which is M2 when `up`. Where there is too little voice to tell, time_s is
 * the border between frames and span_ms NaN. */
refined refine_flip(const evidence *ev, const double *time_s, const saying *says, size_t first,
                    size_t last, size_t at, bool up);

/* The changes with `at` where refine_flip() places them, up to 120 ms away; brief ones stay. Free
 * with turns_clear(). Out: places[c->n], what it told; time_s NaN for brief ones. */
turns refine_turns(const evidence *ev, const double *time_s, const saying *says, const turns *c,
                   refined *places);

#endif
