/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_QUIET_H
#define VOICE_QUIET_H

/* What the pauses tell: the noise floor, beside the softest tone; mains hum; automatic gain.
 *
 * Levels are in dB re full scale, C-weighted (IEC 61672-1), in cells of 10 ms. A pause begins 0.3 s
 * after voice, so that the room has died away, and ends 0.1 s before the next.
 *
 * - Noise: the median level of 50 ms in pauses: breaths and bumps do not move it.
 * - The softest tone: mean power of half a second without a gap of 0.1 s in the voice, the softest
 *   but 2 %.
 *   (Means over a second are the steadiest for soft tones, Sramkova et al. 2015; swells and slides
 *   need less.)
 * - Hum: lines at 50 or 60 Hz and up to the sixth harmonic in windows of 0.25 s, what lies 16 to 24
 *   Hz beside each taken off.
 * - Automatic gain turns the noise down while there is voice, and up again in the second that
 *   follows: the noise above 2 kHz at least a second after voice, or before the first, over that
 *   0.05 to 0.6 s after voice. Of each the level that is lower for a fifth of the time: breaths and
 *   the room's tail are louder. */

#include "voice/moment.h"

typedef struct quiet quiet;

typedef struct quiet_figures { /* NaN where there was too little to tell */
    double pause_s;            /* seconds of pause */
    double noise_db;           /* -INFINITY for digital silence; from 0.1 s on */
    double softest_db;         /* of voice and noise together */
    double hum_db;             /* as sine's RMS, -INFINITY where nothing stands out; from 0.75 s */
    int hum_hz;                /* 50 or 60, the louder; 0 when nothing stands out */
    double gain_db;            /* from 0.2 and 0.8 s on */
} quiet_figures;

quiet *quiet_new(int rate_hz);
void quiet_free(quiet *q); /* NULL allowed */

/* Seconds in order, none left out. */
void quiet_add(quiet *q, const moment *m);

quiet_figures quiet_read(const quiet *q);

#endif
