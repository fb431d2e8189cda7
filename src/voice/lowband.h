/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_LOWBAND_H
#define VOICE_LOWBAND_H

/* The part of the sound in which pitch is looked for. */

#include "sound/signal.h"

enum { LOWBAND_RATE_HZ = 4000 };

/* A copy of the sound at 4 kHz, passed up to 1.5 kHz, where nearly all of the harmonics' power lies
 * and little of the breath's. Only x, n and rate_hz of the copy are set; free with
 * signal_clear(). */
signal lowband_of(const signal *x);

#endif
