/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_STEPS_H
#define REGISTER_STEPS_H

/* How abruptly the harmonics change along the step from M1 to M2.
 *
 * The mean residual of the 90 ms after a frame less that of the 90 ms before it (20 ms left out on
 * either side), measured against how such differences usually scatter for this singer. A flip
 * takes 10-150 ms; articulation and the tract's errors take longer, and the usual scatter holds
 * them. */

#include "register/model.h"

/* ratio[ev->n]: log-likelihood ratio of a step up into M2 (> 0) or down into M1 (< 0) against none,
 * at its own peaks within 80 ms, else 0. */
void steps_measure(const model *m, const evidence *ev, double *ratio);

#endif
