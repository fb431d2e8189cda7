/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_TAKE_AFTER_H
#define FIT_TAKE_AFTER_H

/* A prior from the estimate of more takes of the same voice: for the fitted directions of e, whose
 * groups are set, the slopes and spreads of `like`, which has fitted these and settled. */

#include "fit/estimate.h"

void prior_take_after(prior *p, const estimate *like, const estimate *e);

#endif
