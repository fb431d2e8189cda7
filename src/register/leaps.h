/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_LEAPS_H
#define REGISTER_LEAPS_H

/* Where the pitch leaps. */

#include "register/evidence.h"

/* Fills in leap_st, sudden, kink and slide (register/evidence.h) of the frames first..last, one
 * stretch of voice, which are 0 before. */
void leaps_measure(evidence *ev, track *const *tracks, size_t first, size_t last);

#endif
