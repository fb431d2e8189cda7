/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_CLIMB_H
#define FIT_CLIMB_H

/* The search for the maximum of a penalised likelihood, from a given place or from where the
 * boundary may be: the best two of eight, which are slopes and spreads about the flips' median. */

#include "fit/maximum.h"
#include "fit/prior.h"

/* Borrows p. */
objective climb_objective(const penalised *p);
/* Every group has a definite end, as climb_anywhere asks for. */
bool climb_known(const likelihood *l);
maximum climb_from(const objective *f, const likelihood *l, const double *start);
maximum climb_anywhere(const objective *f, const likelihood *l);

#endif
