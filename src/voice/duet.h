/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_DUET_H
#define VOICE_DUET_H

/* Does somebody else sing, or an instrument play, at the same time?
 *
 * In windows of 0.128 s in which the voice's pitch stays within 0.25 semitones, spectral lines up
 * to 3 kHz that are none of its harmonics are looked at: those 12 dB over what lies around them and
 * within 35 dB of the strongest line. A second pitch is heard where three of them or more are
 * harmonics of one between 70 and 1200 Hz, with -25 dB of the power of all lines or more, and so
 * within 1.5 semitones in the window before. Pitches
 * that are simple parts or multiples of the first (octaves, twelfths) share its harmonics and
 * are passed over: period doubling sounds so, and a second voice there is not noticed. */

#include "voice/moment.h"

typedef struct duet duet;

duet *duet_new(int rate_hz);
void duet_free(duet *d); /* NULL allowed */

void duet_add(duet *d, const moment *m);

/* Share of the windows (0..1) with a second pitch; NaN with fewer than 10 windows. */
double duet_share(const duet *d);

#endif
