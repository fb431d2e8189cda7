/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_COUNTER_H
#define SOUND_COUNTER_H

/* What is counted of a sound that comes in blocks: its samples, their sum and peak, and where it is
 * clipped. */

#include <stddef.h>

typedef struct counter {
    double full_scale; /* the largest positive sample that there can be; set by whoever counts */
    size_t samples;
    double sum, peak;    /* of the samples, of their magnitudes */
    size_t clipped_runs; /* 3 or more samples in a row at full scale, all of one sign */
    int run_sign;
    size_t run; /* samples at full scale up to now, all of one sign */
} counter;

/* The next n samples; those that are not finite become 0. */
void counter_add(counter *c, float *x, size_t n);

#endif
