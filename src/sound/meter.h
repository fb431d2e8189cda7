/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_METER_H
#define SOUND_METER_H

/* A sound level meter after IEC 61672-1: Leq, and levels with the time weightings F (125 ms) and
 * S (1 s), of a sound that comes in blocks.
 *
 * Levels are dB re full scale: a signal whose RMS is 1.0 reads 0 dB, and a sine that fills full
 * scale -3.01 dB. Time weighting runs on the mean power of steps of at most 1 ms, which is exact
 * for any power that is steady within a step. */

#include "sound/weighting.h"

#include <stdbool.h>
#include <stddef.h>

typedef enum meter_speed { METER_FAST, METER_SLOW, METER_SPEEDS } meter_speed;

/* One of each curve; NaN where the curve was not metered or there was no sample, -INFINITY for
 * silence. */
typedef struct meter_levels {
    double leq_db[WEIGHTING_CURVES];
    double max_db[METER_SPEEDS][WEIGHTING_CURVES]; /* largest F and S level */
} meter_levels;

/* Which curves to meter, as bits. */
enum {
    METER_NONE = 0,
    METER_C = 1 << WEIGHTING_C,
    METER_ALL = 1 << WEIGHTING_A | 1 << WEIGHTING_C | 1 << WEIGHTING_Z
};

typedef struct meter meter;

/* The levels at every i * hop_s seconds are kept when `keeps_frames`; hop_s > 0. */
meter *meter_new(int rate_hz, unsigned curves, double hop_s, bool keeps_frames);
void meter_free(meter *m); /* NULL allowed */

/* The next n samples, full scale = 1. DC does not matter. */
void meter_add(meter *m, const float *x, size_t n);

/* NULL: all NaN. */
meter_levels meter_read(const meter *m);
/* All of them db higher. */
meter_levels meter_shift(meter_levels l, double db);

/* The level at time (first + i) * hop_s for i in 0..n-1, of what came before it: -INFINITY at the
 * start, NaN beyond the samples added. Only for a metered curve of a meter that keeps frames. */
void meter_frames(const meter *m, weighting_curve curve, meter_speed speed, size_t first, size_t n,
                  float *db);
/* Forgets the levels kept of the frames before that one, which cannot be asked for any more. NULL
 * allowed. */
void meter_drop(meter *m, size_t before);

#endif
