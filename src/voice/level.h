/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_LEVEL_H
#define VOICE_LEVEL_H

/* Short-time level, unweighted, dB re full scale, and the arithmetic of levels.
 *
 * * Power in 1 ms cells under a Hann window of 50 ms, centred on the frame: 2.75 periods at 55
 * Hz, where the level of a train of pulses stays within 0.13 dB of its mean; a step in level
 * takes 24 ms from 10 to 90 %. Beyond the ends of the recording the window counts what is there.
 * Digital silence gives -INFINITY. */

#include "sound/signal.h"

#include <stddef.h>

enum { LEVEL_WINDOW_CELLS = 50 };

/* level_db[n] for frames at i * hop_s. */
void level_measure(const signal *s, double hop_s, size_t n, double *level_db);

/* What a level at from_cm is at to_cm in a free field: less 20 lg(to_cm / from_cm). */
double level_at_distance(double level_db, double from_cm, double to_cm);

/* The level of what sounds besides the noise: 10 lg(10^(total / 10) - 10^(noise / 10)). NaN where
 * the total is not over the noise. */
double level_less_noise(double total_db, double noise_db);

#endif
