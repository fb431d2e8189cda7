/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_PLACE_H
#define REGISTER_PLACE_H

/* How likely M2 is at a pitch and level, learnt from the singer: likelier high and soft. */

#include "register/evidence.h"

typedef struct place { /* log odds of M2 = at + pitch * (p - mid) - level * l */
    double mid, at;
    double pitch; /* per semitone, >= 0 */
    double level; /* per dB */
} place;

/* Penalised logistic regression on p2[n], by Newton's method. The prior keeps the odds from a
 * cliff: slope on pitch 0.3 +- 0.3, on level 0 +- 0.1; a frame counts as a hundredth of an
 * observation. opt_from: what was fitted to nearly the same, or NULL: it is reached sooner. */
place place_fit(const evidence *ev, const double *p2, const place *opt_from);

/* log_odds[n], within +-6. */
void place_measure(const evidence *ev, const place *p, double *log_odds);

#endif
