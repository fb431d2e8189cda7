/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_HARMONICS_H
#define VOICE_HARMONICS_H

/* Levels of the harmonics. */

#include "sound/signal.h"
#include "voice/track.h"

/* Fills harmonic_db (level of a sine's RMS, dB re full scale, noise included) and noise_db (mean
 * power of the half harmonics on either side) of every voiced frame. Harmonics above 6 kHz or 0.45
 * of the rate stay NaN, unvoiced frames too. */
void harmonics_measure(const signal *x, track *t);

#endif
