/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_BAND_H
#define SOUND_BAND_H

/* How far up a recording reaches: telephones, conversions from a lower rate and lossy coders cut
 * the top of the band off.
 *
 * * The mean of the logarithm of the spectrum over all looks (Hann windows of about 40 ms), in
 * bands of 200 Hz. Noise of any kind reaches up to half the rate and falls slowly; at a cut it
 * falls by 15 dB or more within 400 Hz, from all of the kilohertz below it, and never rises again.
 * (A formant, too, falls so, but on both sides.) */

#include <stddef.h>

typedef struct band band;

band *band_new(int rate_hz); /* 8-192 kHz */
void band_free(band *b);     /* NULL allowed */

void band_add(band *b, const float *x, size_t n);

/* Upper end in Hz, half the rate where nothing is cut off; NaN before the first look, and for
 * digital silence. */
double band_end_hz(const band *b);

#endif
