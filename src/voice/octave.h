/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_OCTAVE_H
#define VOICE_OCTAVE_H

/* High notes heard an octave too high, put right. */

#include "sound/signal.h"

#include <stddef.h>

/* Where the first formant lies on the second harmonic of a breathy high voice, the first may be 15
 * dB weaker, and half of the period leaves no more unexplained than noise does. Its line in the
 * spectrum still stands out. Frame i of st[n] is at i * hop_s, NaN without a pitch: in stretches
 * above 700 Hz, where period doubling is not to be expected, that drops by an octave in which most
 * frames have a line at half of the pitch 10 dB over what is at a quarter and at three; but not
 * where the path goes on below 700 Hz on either side, as that of a note at the border does. */
void octave_mend(const signal *x, double hop_s, size_t n, double *st);

#endif
