/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_LATE_H
#define VOICE_LATE_H

/* What a room keeps of a note that has ended, taken off the note that follows.
 *
 * A room keeps of the power in each band of the spectrum (Hann windows of 64 ms, four a window) a
 * mean over what went before that falls by 60 dB in 0.4 s, less by the share of the room in the
 * sound. That share is asked of the sound itself: in a room no band ever falls far under what is
 * kept, near by the quietest fall as far as the window lets them. Of all bands from 100 to 1500 Hz
 * and times where more than -40 dB re the most is kept, the two in a hundred with the least power
 * re what is kept lie some x dB under it; the share is 26 dB - 1.7 x, the line through 175 takes
 * whose room was known (0.1 to 1.2 s; 2.7 dB of standard deviation), and at most -6 dB: who never
 * moves fast has no band that falls. Under -20 dB there is no room to speak of.
 *
 * Twice that share of what is kept is taken off each band's power, 17 dB at most: a spectral
 * subtraction as in Lebart, Boucher and Denbigh 2001 (*A new method based on spectral subtraction
 * for speech dereverberation*; from memory), with a room that is assumed but for its share. */

#include "sound/signal.h"

/* A copy of the sound (x, n and rate_hz alone; at least 3.2 kHz); free with signal_clear(). Where
 * no room is told the copy is the sound; silence and no samples at all stay so. */
signal late_taken_off(const signal *s);

#endif
