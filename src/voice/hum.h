/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_HUM_H
#define VOICE_HUM_H

/* Mains hum in pauses: lines at 50 or 60 Hz and their harmonics up to the sixth.
 *
 * In windows of 0.25 s (Hann: a line reaches 8 Hz to either side) the power at each line is set
 * beside the mean of that 16 and 24 Hz above and below. A line counts when it is 6 dB over that;
 * with 4 windows of noise alone one in 300 does. Hum is there when the fundamental or two others
 * do. */

#include <stdbool.h>
#include <stddef.h>

typedef struct hum hum;

hum *hum_new(int rate_hz);
void hum_free(hum *h); /* NULL allowed */

/* The next n samples; `pause` false begins the window anew. */
void hum_add(hum *h, const float *x, size_t n, bool pause);

/* Level of the lines together, dB re full scale as RMS, what lies beside them taken off, and *hz 50
 * or 60, whichever is louder. -INFINITY and 0 when nothing stands out; NaN and 0 with fewer than 3
 * windows. */
double hum_read(const hum *h, int *hz);

#endif
