/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_HARMONICS_H
#define VOICE_HARMONICS_H

/* Levels of the harmonics, and the pitch made finer by their phases. */

#include "sound/signal.h"
#include "voice/track.h"

/* Corrects the pitch of voiced frames by how fast the harmonics' phases turn about it, each
 * harmonic weighted by its number squared and its signal to noise: the window of 30 ms averages
 * breath noise that the periods of the tracker cannot, without smearing a leap, since only what
 * strays from the pitch already followed is averaged. */
void harmonics_refine(const signal *x, track *t);

/* Fills harmonic_db (level of a sine's RMS, dB re full scale, noise included) and noise_db (mean
 * power of the half harmonics on either side) of every voiced frame. Harmonics above 6 kHz or 0.45
 * of the rate stay NaN, unvoiced frames too. */
void harmonics_measure(const signal *x, track *t);

#endif
