/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_PEAKS_H
#define SOUND_PEAKS_H

/* Peaks that were cut off, at full scale or beneath it: an overdriven preamplifier, a soft clipper,
 * a clipped file that was turned down afterwards.
 *
 * Of each half-wave (between two zero crossings) two widths are taken about its peak P: at 0.99 P
 * and at 0.90 P. A round peak has sqrt(0.01 / 0.1) = 0.32 of the second in the first, a pointed one
 * 0.1, one that was cut more than half: a sine cut by 0.3 dB 0.55, by 1 dB 0.74, one through
 * tanh(4 x) 0.72. It is flat from 0.5 on, where 4 samples or more lie in the first width. Voice has
 * flat half-waves, too; but those of one that was cut are the loudest. So they count as cut when of
 * all half-waves within half a decibel of the largest peak (or one, or two, where more were cut)
 * a share of 0.3 is flat, 0.25 more than of those 4-12 dB under it, and 5 are; or of those within a
 * quarter of a decibel 0.15, 0.12 more, and 20 are: a soft clipper flattens the very loudest alone.
 * Few that were cut off sharp are told at the largest peak: three samples and more that are one
 * within 1.5 steps of 16 bits, on either side of which it falls by 15 at once, at three half-waves.
 * A round peak falls by 4 times as much at twice the distance. Each sign is judged by itself.
 * tests/test_check.c shows what is told apart. */

#include <stddef.h>

typedef struct peaks peaks;

peaks *peaks_new(void);
void peaks_free(peaks *p); /* NULL allowed */

/* The next n samples, full scale = 1. */
void peaks_add(peaks *p, const float *x, size_t n);

/* Half-waves that were cut, of what was added. */
size_t peaks_cut(const peaks *p);

#endif
