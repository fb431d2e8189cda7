/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_THIN_H
#define REGISTER_THIN_H

/* Fewer frames to search with: the harmonics of neighbouring frames come from windows that overlap,
 * and say the same. */

#include "register/evidence.h"

/* One frame, the middle one, for each `every` (at least 1) voiced frames in a row of a stretch; of
 * leaps the largest is kept. Out: stands_for[ev->n], the frame of the result that each frame of ev
 * went into. */
evidence *thin_evidence(const evidence *ev, size_t every, size_t *stands_for);

#endif
