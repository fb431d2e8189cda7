/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_FRY_H
#define VOICE_FRY_H

/* Fry (M0, creak): its pulses come 28 to 65 a second (Hollien and Michel 1968, from memory), too far
 * apart for a pitch here, and after each a formant rings, whose pitch is heard one to three octaves
 * above the voice's. */

#include "sound/signal.h"

#include <stddef.h>

/* Takes the pitch of rings out of st[n], frame i at i * hop_s, NaN without one. A stretch of pitch
 * above 220 Hz rings where it begins or ends within 100 ms of a note of 60 ms and more that lies
 * farther below than a voice leaps (far_st, semitones), or of another ring over that note, and the
 * power of the low band swings in 50 ms as pulses make it: by 2 dB RMS about a straight line, in
 * the mean. A voice of the pitch that is heard has many periods in that time, and swings by 0.5 dB.
 * Rings of less than 100 ms, which are no more than some pulses, are left where the voice goes to
 * another note: folds that go over to another register may ring so. */
void fry_silence(const signal *low, double hop_s, size_t n, double far_st, double *st);

#endif
