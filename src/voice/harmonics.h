/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_HARMONICS_H
#define VOICE_HARMONICS_H

/* Levels of the harmonics, by heterodyne along the pitch.
 *
 * With phi the integral of the pitch, x e^(-j h phi) brings harmonic h to rest whatever the pitch
 * does; a Hann window of 30 ms, or 4 periods where that is longer, centred on the frame, then gives
 * its amplitude. The same half-way between harmonics, where the window has its first zeros, gives
 * what is not voice. Pitch is held across unvoiced frames. */

#include "sound/signal.h"
#include "voice/track.h"

/* Fills harmonic_db (level of a sine's RMS, dB re full scale, noise included) and noise_db (what a
 * heterodyne off the harmonics would read: mean power of the two sides) of every voiced frame.
 * Harmonics above 6 kHz or 0.45 of the rate stay NaN, unvoiced frames too. */
void harmonics_measure(const signal *x, track *t);

#endif
