/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_MOMENT_H
#define VOICE_MOMENT_H

/* A second of sound, as it was recorded, beside what was heard of the voice in it: what the checks
 * that need both look at, one second after the other. */

#include "voice/track.h"

#include <stdbool.h>
#include <stddef.h>

enum { MOMENT_BEFORE_S = 2, MOMENT_AFTER_S = 1 };

typedef struct moment {
    const float *x; /* [n] microphone, full scale = 1; n = rate_hz but in the last second */
    size_t n;
    int rate_hz;
    size_t second; /* which one it is, from 0 */
    /* Frames from MOMENT_BEFORE_S before to MOMENT_AFTER_S after it, where the take has them. */
    const track *heard;
    size_t first; /* the number in `heard` of the frame at which the second begins */
} moment;

/* Times in seconds from the beginning of the second. */
bool moment_voiced(const moment *m, double from_s, double to_s);   /* voice all through */
bool moment_unvoiced(const moment *m, double from_s, double to_s); /* none at all; beyond the ends
                                                                       of the take there is none */
/* Seconds since there was voice, INFINITY when there was none within MOMENT_BEFORE_S. */
double moment_since_voice(const moment *m, double at_s);

#endif
