/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_HETERODYNE_H
#define VOICE_HETERODYNE_H

/* Harmonics and what lies half-way between them, brought to rest along a pitch.
 *
 * With phi the integral of the pitch, x e^(-j k phi / 2) brings the k-th half harmonic to rest
 * whatever the pitch does; a Hann window of 30 ms, or 4 periods where that is longer, centred on
 * the frame, then gives its amplitude. The window's first zeros lie half a harmonic away or
 * nearer. */

#include "sound/signal.h"

#include <complex.h>
#include <stddef.h>

enum { HETERODYNE_MOST = 33 }; /* half harmonics 1 (1/2 f0) to 33 (16 1/2 f0) */

typedef struct heterodyne heterodyne;

/* Frame i is at i * hop_s and has pitch hz[i], NaN when unvoiced: there the pitch before is held.
 * NULL when no frame is voiced. `x` and `hz` are borrowed. */
heterodyne *heterodyne_new(const signal *x, double hop_s, size_t n, const double *hz);
void heterodyne_free(heterodyne *h); /* NULL allowed */

/* Half harmonics 1..n_lines at voiced frame i: amplitude of a sine is 2 |line|, its phase turns
 * only as the sine strays from the pitch. Beyond the ends of the sound there is silence. */
void heterodyne_lines(const heterodyne *h, size_t i, int n_lines, double complex *line);

#endif
