/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_CEPSTRUM_H
#define VOICE_CEPSTRUM_H

/* The real cepstrum, and how far its peak at the period stands out. */

#include "voice/spectrum.h"

/* The cosine transform of log_amplitude[0..last], natural logarithms at equal steps from 0 Hz to
 * the band's end: out[m] for m = 0..n - 1 is at the time m / (2 * band's end); n <= 2 * last. A
 * train of ideal pulses has 1/2 at its period (its complex cepstrum is 1, and half of that lies at
 * the negative period). last >= 1. */
void cepstrum_of(const double *log_amplitude, int last, int n, double *out);

/* Cepstral peak prominence, dB: the cepstrum's power at the period, over the straight line
 * fitted to its level against time from a quarter of a period to two periods (after Hillenbrand,
 * Cleveland & Erickson 1994 and Hillenbrand & Houde 1996, from memory); power is averaged over
 * three neighbouring times. The band is that of the spectrum's harmonics, so that the period
 * falls on one of the times, whatever the pitch; what lies 100 dB under the strongest bin is
 * lifted to there. NaN with fewer than 3 harmonics. */
double cepstral_prominence_db(const spectrum *s);

#endif
