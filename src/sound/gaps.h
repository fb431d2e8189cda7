/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_GAPS_H
#define SOUND_GAPS_H

/* Where samples are missing: a recorder or a wireless link that did not keep up.
 *
 * - A hole: at least 1 ms and 12 samples of one and the same value, small beside the sound about
 *   it, with sound over the floor in the 3 ms before it and in the 3 ms after it. Silence that
 *   sound fades into, as a noise gate leaves it, is none.
 * - A splice: sound that goes on elsewhere. The fourth difference of the samples, which flattens
 *   what is smooth, exceeds within a millisecond 10 times its largest value in the 20 ms on
 *   either side (2 ms next to it left out), in sound over the floor on both sides. Only at 16 kHz
 *   and more: below, voice itself is that rough.
 *
 * The thresholds were set by trial on tuning voices. */

#include <stddef.h>

typedef enum gap_kind { GAP_HOLE, GAP_SPLICE } gap_kind;

typedef struct gap {
    double time_s; /* where it begins */
    double span_s; /* of a hole; 0 for a splice, of which it is not known */
    gap_kind kind;
} gap;

enum { GAPS_KEPT = 1000 };

typedef struct gaps gaps;

/* rate 8-192 kHz; floor_db: level re full scale under which nothing counts as sound. */
gaps *gaps_new(int rate_hz, double floor_db);
void gaps_free(gaps *g); /* NULL allowed */

void gaps_add(gaps *g, const float *x, size_t n);

/* Those found, in about the order of time, and no more than GAPS_KEPT of them; borrowed. */
const gap *gaps_found(const gaps *g, size_t *n);

#endif
