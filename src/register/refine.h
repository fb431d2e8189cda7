/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_REFINE_H
#define REGISTER_REFINE_H

/* The place and the width of one flip, from what the frames about it say.
 *
 * A smooth ramp of width w at time tau is fitted by weighted least squares both to the register
 * coordinate z / M of the frames and to their pitch; the pair that leaves least wins. */

#include "register/evidence.h"
#include "register/model.h"

typedef struct refined {
    double time_s;  /* midpoint of the change */
    double span_ms; /* its 10-90 % time, with the analysis window's own spread taken out */
} refined;

/* `first`..`last` (indices into the evidence) bound what may be looked at, `at` is the first frame
 * of the new register. */
refined refine_flip(const evidence *ev, const double *time_s, const saying *says, size_t first,
                    size_t last, size_t at);

#endif
