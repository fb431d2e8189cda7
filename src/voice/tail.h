/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_TAIL_H
#define VOICE_TAIL_H

/* Notes that a room still holds when the next has begun. */

#include "sound/signal.h"

#include <stddef.h>

/* Who leaps from a loud note to a soft one leaves the loud one in the room, and the pitch stays
 * with it until it has died away, 100 ms late and more. Harmonics of the new note that lie apart
 * from those of the old rise before. Frame i of st[n] is at i * hop_s, NaN without a pitch: from
 * where they reach a tenth of the power that they have once the new pitch is there, at most 200 ms
 * before it, frames are given the new pitch. At an octave up, where none lies apart, the new note
 * is there from where the old one's odd harmonics do nothing but fade while the even ones are kept
 * up.
 *
 * Leaps are of 2 to 13.5 semitones between notes that last 60 ms; nothing changes in a glide, or
 * where the harmonics do not do that. */
void tail_mend(const signal *x, double hop_s, size_t n, double *st);

#endif
