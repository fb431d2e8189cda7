/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_TRILL_H
#define VOICE_TRILL_H

/* Trills of the lips or the tongue: the mouth lets the voice out in bursts, 18 to 32 a second (from
 * memory: lips 15-30, tongue 25-30 Hz). The pitch goes on beneath, but two periods of it that lie a
 * burst apart are not alike; and harmonics tell of the mouth more than of the register.
 *
 * A trill is where for 0.3 s the level swings by 1.5 dB RMS or more about its mean of 100 ms, each
 * swing counting for 3 dB at most, since a flip or a consonant is one deep one or two; and where it
 * is like itself one burst later: correlation of 0.7 or more over 0.3 s, more than a little sooner
 * or later, and below 0 half a burst later, which tells it from slower swings, and 0.4 or more two
 * bursts later, which tells it from two notes that beat in a room; and 0.15 s beside that, where it
 * begins and ends. The level is that of 20 ms, longer than the period of any pitch.
 * Common experience, no source. */

#include "sound/signal.h"

#include <stdbool.h>
#include <stddef.h>

/* trilled[n], 1 in frames at i * hop_s that are. Whether any is. */
bool trill_find(const signal *x, double hop_s, size_t n, unsigned char *trilled);

/* A copy of the sound (x, n and rate_hz alone), and of what is trilled only what goes through shut
 * lips, too, below 500 Hz, and as loud all through a burst, by 15 dB at most. Free with
 * signal_clear(). */
signal trill_flatten(const signal *x, double hop_s, size_t n, const unsigned char *trilled);

#endif
