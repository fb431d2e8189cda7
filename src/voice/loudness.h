/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_LOUDNESS_H
#define VOICE_LOUDNESS_H

/* Order statistics of levels, counted in steps of 0.01 dB: any number of them in the same memory.
 */

#include <stddef.h>

typedef struct loudness loudness;

loudness *loudness_new(void);
void loudness_free(loudness *l); /* NULL allowed */

/* Counts level_db[n], dB re full scale; what lies outside -250 to +50 counts as the nearer end. */
void loudness_add(loudness *l, const double *level_db, size_t n);

/* The level, within 0.005 dB, under which that share of those counted lies (0..1): the one with
 * the index share * (n - 1), rounded down, in their order. -INFINITY when it is below -250 dB, NaN
 * when none was counted. */
double loudness_of(const loudness *l, double share);

#endif
