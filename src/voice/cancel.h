/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_CANCEL_H
#define VOICE_CANCEL_H

/* Two periods at once, by cancellation (de Cheveigne and Kawahara 1999, Speech Communication 27,
 * 175-185, from memory).
 *
 * What repeats after T is gone from x(t) - x(t - T); what a second voice adds is left, and goes
 * with its own period. T may change steadily by up to 16 semitones a second, as in vibrato. Two
 * voices are told where the best pair of periods leaves 0.3 or less of what the best single one
 * leaves, a fiftieth of the power or more, and the second takes out three quarters of what the
 * first left and repeats so still after 10 ms, which breath in a resonance does not.
 *
 * A period that is a multiple of both does not count as a single one: a voice that low would have
 * more harmonics. Pairs in which one pitch is a simple part or multiple of the other are passed
 * over: what is left of one voice alone repeats so. */

#include <stdbool.h>
#include <stddef.h>

enum {
    CANCEL_RATE_HZ = 17600,
    CANCEL_WIDTH = 768, /* of a window: 44 ms */
    CANCEL_BEFORE = 520 /* samples that are looked at before a window */
};

/* A second of sound up to 2 kHz at CANCEL_RATE_HZ, from x[n] at rate_hz; its length, 0 for none.
 * out holds CANCEL_RATE_HZ. */
size_t cancel_sound(const float *x, size_t n, int rate_hz, float *out);

/* Are there two voices between 70 and 1200 Hz? x points into such a sound, CANCEL_BEFORE from its
 * beginning and CANCEL_WIDTH from its end at least; silence has none. */
bool cancel_two(const float *x);

/* Is one pitch a simple part or multiple of the other, within a share of `slack`? */
bool cancel_related(double hz, double other_hz, double slack);

#endif
