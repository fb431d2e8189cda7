/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_HETERODYNE_H
#define VOICE_HETERODYNE_H

/* Harmonics and what lies half-way between them, brought to rest along a pitch.
 *
 * With phi the integral of the pitch, x e^(-j k phi / 2) brings the k-th half harmonic to rest
 * whatever the pitch does; a Hann window centred on the frame then gives its amplitude. All half
 * harmonics of a frame come from one Fourier transform over phi: samples are spread onto an even
 * grid of phases by a narrow kernel (a nonuniform FFT of the first type, with the kernel of
 * Barnett, Magland and af Klinteberg 2019, "A parallel nonuniform fast Fourier transform library
 * based on an exponential of semicircle kernel"; from memory). */

#include "sound/signal.h"

#include <complex.h>
#include <stdbool.h>
#include <stddef.h>

enum { HETERODYNE_MOST = 33 }; /* half harmonics 1 (1/2 f0) to 33 (16 1/2 f0) */

typedef struct heterodyne heterodyne;

typedef struct heterodyne_window { /* whichever is longer */
    double shortest_s;
    double periods; /* 4: zeros half a harmonic away or nearer; 2: a harmonic away */
} heterodyne_window;

/* For n frames, frame i at i * hop_s, and half harmonics 1..most_lines of each; up to 17 take
 * less time. `x` is borrowed. */
heterodyne *heterodyne_new(const signal *x, double hop_s, size_t n, int most_lines);
void heterodyne_free(heterodyne *h); /* NULL allowed */

/* Frame i has pitch hz[i], NaN when unvoiced: there the pitch before is held. False when no frame
 * is voiced. */
bool heterodyne_follow(heterodyne *h, const double *hz);

/* Half harmonics 1..n_lines at frame i: amplitude of a sine is 2 |line|, its phase turns only as
 * the sine strays from the pitch. Beyond the ends of the sound there is silence. */
void heterodyne_lines(heterodyne *h, size_t i, heterodyne_window w, int n_lines,
                      float complex *line);

static inline float line_power(float complex line)
{
    return crealf(line) * crealf(line) + cimagf(line) * cimagf(line);
}

#endif
