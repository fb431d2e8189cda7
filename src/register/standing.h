/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_STANDING_H
#define REGISTER_STANDING_H

/* How well a world's changes of register stand up, each asked for evidence of its own. */

#include "register/evidence.h"
#include "register/world.h"

/* -log of the probability that none of the changes is a flip, 0 without any; what each take has of
 * it is added to opt_takes[take]. The chain's own likelihood is surest of worlds in which vowels or
 * leaps are registers. */
double standing_of(const evidence *ev, const world *w, double *opt_takes);

/* Takes changes that have nothing of their own to show out of w->p2: where a voice sounds much
 * alike on both sides of its flips, the chain goes to and fro between them. A change is asked where
 * the pitch leaps most its way, within 120 ms: where contact dwindles or sets in over some time the
 * chain is late; but where the chain has it if vowels may change: there leaps are a melody's. */
void standing_tidy(const evidence *ev, world *w);

#endif
