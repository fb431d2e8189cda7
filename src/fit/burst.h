/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_BURST_H
#define FIT_BURST_H

/* Bursts of wrong labels: a visit to the other register, shorter than 0.4 s, of which one of both
 * flips is more likely wrong than the boundary's. Then the other one is wrong as well, however near
 * to the boundary it lies, and the attempt before it goes on after it. docs/boundary.md. */

#include "fit/attempts.h"

/* Of real[attempts], the probability that a flip is the boundary's. Joins the attempts before and
 * after each burst; false, and nothing changed, where there is none. */
bool burst_join(attempts *a, const double *real);

#endif
