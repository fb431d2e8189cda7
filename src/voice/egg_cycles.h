/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_EGG_CYCLES_H
#define VOICE_EGG_CYCLES_H

/* The glottal cycles of an EGG in which contact counts upwards. */

#include <stdbool.h>
#include <stddef.h>

typedef struct egg_cycle {
    double start, end; /* samples, from one rise of contact to the next */
    double amplitude;
    double quotient;
    double peaks_quotient; /* see voice/egg.h; NaN where there is none */
    double closing, opening;
} egg_cycle;

typedef struct egg_cycles {
    size_t n, room;
    egg_cycle *items; /* in order of time; what is no cycle is left out */
} egg_cycles;

/* Samples first..last - 1 of x[n], where a cycle takes about period[i] samples. */
void egg_cycles_find(const double *x, size_t n, const double *period, size_t first, size_t last,
                     egg_cycles *out);
void egg_cycles_clear(egg_cycles *c);

#endif
