/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_SPECTRUM_H
#define VOICE_SPECTRUM_H

/* The spectrum of a frame in which the pitch stands still: all measures of a frame come from it.
 *
 * * The sound about the frame is sampled anew at equal steps of phase, the integral of the
 * pitch, so that vibrato, slides and leaps are gone: harmonic h lies at bin h * periods exactly,
 * whatever the pitch does, and harmonics far up are as sharp as the first. Under a Hann window
 * of an even number of periods, the fewest that last 30 ms and never less than 4, a steady
 * harmonic reaches one bin to either side and no farther; in the other bins there is what is not
 * voice. */

#include "sound/signal.h"

#include <stdbool.h>
#include <stddef.h>

enum { SPECTRUM_HARMONICS = 180, SPECTRUM_BINS = 1024 }; /* never more, from 30 Hz up */

typedef struct spectrum {
    double hz;     /* pitch in the middle of the frame */
    int periods;   /* bin k is at k / periods times the pitch; even */
    int harmonics; /* below 5 kHz, and 0.38 of the sound's rate: 1 or more */
    /* [harmonics * periods + periods / 2 + 1] A sine of RMS r in the middle of a bin gives r^2;
     * noise of r^2 per hertz gives r^2 times 1.5 bins. */
    const double *power;
} spectrum;

/* Noise in one bin, as power per hertz times this many hertz. */
double spectrum_noise_hz(const spectrum *s);

typedef struct spectrograph spectrograph;

/* Frame i is at i * hop_s of the sound and has pitch hz[i] of 30 Hz or more, NaN when unvoiced:
 * there the pitch before is held. `x` and `hz` are borrowed; n >= 1. */
spectrograph *spectrograph_new(const signal *x, double hop_s, size_t n, const double *hz);
void spectrograph_free(spectrograph *g); /* NULL allowed */

/* False for an unvoiced frame and one whose pitch is not below 5 kHz and 0.38 of the rate. The
 * spectrum is borrowed until the next call. Beyond the ends of the sound there is silence. */
bool spectrograph_frame(spectrograph *g, size_t i, spectrum *out);

#endif
