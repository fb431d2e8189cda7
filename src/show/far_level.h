/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_FAR_LEVEL_H
#define SHOW_FAR_LEVEL_H

/* Pitches stated at a level at which the voice never came to the flip: the line is prolonged to it,
 * which has to be said; and farther than the line is long it says nothing. */

#include "fit/boundary.h"

/* The sentence for words under a picture, in which the level stands already. */
extern const char far_level_words[];

/* Whether a boundary states its pitch of this direction more than 1 dB outside the levels that were
 * sung (boundary_levels); false where there are none. */
bool far_level(const boundary *b, flip_direction d);

/* False, with the levels that the voice, `who`, was heard at, when the boundary's level is farther
 * away from all of them than they reach, or 4 dB where they reach less. */
bool far_level_check(const boundary *b, const char *who, err *e);

#endif
