/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_FRY_H
#define VOICE_FRY_H

/* Fry (M0, creak): its pulses come 28 to 65 a second (Hollien and Michel 1968, from memory), too
 * far apart for a pitch here, and after each a formant rings, whose pitch is heard one to three
 * octaves above the voice's. */

#include "sound/signal.h"

#include <stddef.h>

/* Takes out of st[n], frame i at i * hop_s, NaN without a pitch, what lies above 220 Hz and farther
 * above a note (of 60 ms and more, within 100 ms) than a voice leaps, far_st semitones, and
 *  - rings: the power of `low` (voice/lowband.h) swings in 50 ms as pulses make it, by 2 dB RMS
 *    about a straight line, in the mean, where a voice of that pitch has many periods and swings by
 *    0.6 dB; for 100 ms in all, since folds that go over to another register may ring on their way,
 *    or with the note before coming back within 300 ms (within 4 semitones); or
 *  - is over within 100 ms, that note having come back, as at a consonant.
 * Silence, and a sound without such a leap, stay as they are; n may be 0. */
void fry_silence(const signal *low, double hop_s, size_t n, double far_st, double *st);

#endif
