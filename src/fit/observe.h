/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_OBSERVE_H
#define FIT_OBSERVE_H

/* Attempts as observations of a likelihood. */

#include "fit/estimate.h"

/* Fills e->likelihood with the attempts of the fitted directions, levels less at_db and their
 * squares; n_x is the caller's, and a grid where it has an offset. */
void observe(estimate *e, const attempts *a, double at_db, const estimate_settings *s);

/* At least two sessions in which an attempt of a fitted direction flipped. */
bool observe_scatter(const likelihood *l);

#endif
