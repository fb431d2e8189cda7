/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_DUET_H
#define VOICE_DUET_H

/* Does somebody else sing, or an instrument play, at the same time?
 *
 * Two ways, of which the one that finds more counts. Either is for pitches from 70 to 1200 Hz.
 *
 * - Lines, for steady tones, of which one may be 20 dB softer. In windows of 0.128 s with voice,
 *   but for those in which one pitch is followed all through while it moves by more than 0.6
 *   semitones, spectral lines up to 3 kHz are looked at: those 12 dB over what lies around them and
 *   within 35 dB of the strongest. The first pitch is the one whose harmonics hold most of their
 *   power, where at least three are there and three quarters of those up to the last; whatever
 *   pitch was heard, since of two equally loud voices that may be neither's. The second is found
 *   alike among the lines that are left, with three fifths of the harmonics that it does not share
 *   with the first and -25 dB of the power of all lines or more. Both are to be within half a
 *   semitone of those of the window before, in three windows or more.
 * - Periods, for voices that move, of which one may be 12 dB softer: voice/cancel.h, in windows of
 *   44 ms, 20 a second, at most 20 dB under the loud parts, whether one pitch is heard or none. Two
 *   that follow each other count.
 *
 * Pitches that are simple parts or multiples of the first (octaves, twelfths) share its harmonics
 * and are passed over: period doubling sounds so, and a second voice there is not noticed.
 *
 * Two equally loud voices may repeat so slowly that no pitch is heard at all. Where a recording has
 * no voice anywhere, all of it is looked at. */

#include "voice/moment.h"

typedef struct duet duet;

/* loud_db: of the voice's loud parts, dB re full scale; NaN where no voice is heard. */
duet *duet_new(int rate_hz, double loud_db);
void duet_free(duet *d); /* NULL allowed */

void duet_add(duet *d, const moment *m);

/* Share (0..1) with a second pitch of the windows that were looked at, of lines those with a steady
 * first one; NaN with fewer than 10 of these either way, or where there is no voice and no second
 * pitch either. */
double duet_share(const duet *d);

#endif
