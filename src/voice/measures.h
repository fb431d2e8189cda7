/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_MEASURES_H
#define VOICE_MEASURES_H

/* Measures of the voice's spectrum in each frame, and weighted levels: what `analyse --measures`
 * prints. docs/level.md has their sources. */

#include "sound/meter.h"
#include "sound/signal.h"

#include <stddef.h>

/* From one spectrum (voice/spectrum.h), from half of the pitch to half of it past the last
 * harmonic; they hold at any pitch and through vibrato, and are NaN in unvoiced frames.
 * Harmonics count below 5 kHz and 0.38 of the sound's rate, the noise in their bins taken off;
 * those less than 6 dB over it are drowned, and NaN. */
typedef enum measure {
    MEASURE_H1_H2,     /* level of the first harmonic over the second, dB */
    MEASURE_SLOPE,     /* straight line through the harmonics' levels, dB per octave */
    MEASURE_SLOPE_LOW, /* the same through harmonics 1 to 4; both NaN with fewer than 3 of them */
    MEASURE_BALANCE,   /* power from 1 kHz up over that below, noise included, dB */
    MEASURE_HNR,       /* power of the harmonics over that of the noise, dB */
    MEASURE_CPPS,      /* cepstral peak prominence, mean of 25 ms, dB */
    MEASURE_LAF,       /* levels with frequency and time weighting, of what came before the frame */
    MEASURE_LAS,
    MEASURE_LCF,
    MEASURE_LCS,
    MEASURE_LZF,
    MEASURE_LZS,
    MEASURES
} measure;

typedef struct measures {
    size_t n;     /* frames */
    float *value; /* [n][MEASURES] */
    /* Levels of the harmonics, those of one frame after those of the frame before. */
    unsigned char *harmonics; /* [n] how many; 0 unvoiced */
    float *harmonic_db;       /* [sum of harmonics] as a sine's RMS */
    size_t n_levels;
} measures;

/* The column of a table: "h1_h2_db", "slope_db_oct", ... */
const char *measure_name(measure m);

/* Frames at i * hop_s of the sound, with pitch hz[i] (NaN unvoiced); levels in dB re full scale.
 * L.. stay NaN. The caller frees. */
measures *measures_of(const signal *x, double hop_s, size_t n, const double *hz);
measures *measures_new(void);    /* of no frame */
void measures_free(measures *m); /* NULL allowed */

/* Fills in L.. from the frames first.. of a meter of all curves that keeps frames. */
void measures_meter(measures *m, const meter *from, size_t first);
/* Adds db to all levels; differences of levels stay. */
void measures_shift(measures *m, double db);
/* Puts frames first..first + n - 1 of `from` behind those of m. */
void measures_append(measures *m, const measures *from, size_t first, size_t n);

#endif
