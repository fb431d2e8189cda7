/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_COMPANION_H
#define SOUND_COMPANION_H

/* A second channel that goes beside the microphone's through a signal window: the EGG's, at the
 * working rate, nothing taken out of it. Memory is that of the window. */

#include "base/message.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct companion companion;

bool companion_new(int rate_hz, companion **out, err *e); /* of the recording */
void companion_free(companion *b);                        /* NULL allowed */

/* The next n samples; NULL ends the sound. */
bool companion_add(companion *b, const float *x, size_t n, err *e);
bool companion_holds(const companion *b, double seconds);
void companion_drop(companion *b,
                    size_t seconds); /* from the window's beginning; at most all of it */

double
companion_rate_hz(const companion *b); /* the working rate: 16 kHz, or the recording's if lower */
const float *companion_samples(const companion *b,
                               size_t *n); /* full scale = 1; until the next call */

#endif
