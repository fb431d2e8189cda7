/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_STARTS_H
#define REGISTER_STARTS_H

/* First guesses of the registers, from which EM climbs. */

#include "register/chain.h"
#include "register/hazard.h"
#include "register/known.h"

/* M2 from where the voice rises over a line in pitch and level to where it falls under a lower one:
 * flips come later going up than coming down. `share` (0..1) of the frames lie below the middle. */
void start_by_pitch(const evidence *ev, double share, double *p2);

/* The chain with leaps alone to go by, and a place with `share` of the frames below its line. */
void start_by_leaps(const evidence *ev, double share, const chain_settings *c,
                    const hazard_settings *h, double *p2);

/* The chain with a model of earlier takes to go by. */
void start_by_known(const evidence *ev, const known *k, const chain_settings *c,
                    const hazard_settings *h, double *p2);

/* Frames lo to hi - 1, all of one or several whole takes, as evidence of their own; only `before`
 * is, the rest is ev's: free that alone. */
evidence evidence_part(const evidence *ev, size_t lo, size_t hi);

#endif
