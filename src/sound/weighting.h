/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_WEIGHTING_H
#define SOUND_WEIGHTING_H

/* The frequency weightings of IEC 61672-1 as digital filters at any rate of 8-192 kHz.
 *
 * * Low poles (20.6 Hz twice; A also 107.7 and 737.9 Hz): first-order high-passes whose slope
 * towards 0 Hz and whose gain at half the rate are exactly the analogue ones; in between they
 * stray by 0.07 dB at most. High poles (12194 Hz twice): at half the rate or beyond it no simple
 * transform holds, so the poles are matched, exp(-2 pi f / rate), and seven symmetric zeros take
 * the gain to the analogue one at four frequencies up to 20.5 kHz, or half the rate. At 48 kHz
 * and above the whole stays within 0.1 dB of the curve up to 20 kHz, at 44.1 kHz within 0.2 dB,
 * and at any lower rate within 0.45 dB up to 0.95 of half the rate. The gain at 1 kHz is 0 dB
 * exactly. Phase is not held to the analogue one: levels do not need it. */

#include <stddef.h>

typedef enum weighting_curve {
    WEIGHTING_A,
    WEIGHTING_C,
    WEIGHTING_Z, /* flat but for the first-order high-pass at WEIGHTING_Z_HZ that takes out DC */
    WEIGHTING_CURVES
} weighting_curve;

enum { WEIGHTING_Z_HZ = 10 };

/* The curve that the filter is to follow, dB re 1 kHz; -INFINITY at 0 Hz, and 0 everywhere for Z
 * (IEC 61672-1, E.4: poles at 20.598997, 107.65265, 737.86223 and 12194.217 Hz). */
double weighting_db(weighting_curve curve, double hz);

typedef struct weighting weighting;

weighting *weighting_new(weighting_curve curve, int rate_hz);
void weighting_free(weighting *w); /* NULL allowed */

/* Filters x[n] in place; a sound may come in blocks of any length, and silence goes before it. */
void weighting_process(weighting *w, double *x, size_t n);

#endif
