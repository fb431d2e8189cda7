/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_VERDICT_H
#define VOICE_VERDICT_H

/* From what was measured of a recording to the results of its checks: the thresholds, each with its
 * source, and the prerequisites. */

#include "voice/checkup.h"

#include <stddef.h>

typedef struct verdict_figures { /* NaN where there was too little to tell */
    int rate_hz;
    double voiced_s, dc;
    size_t full_runs; /* runs of 3 or more samples at full scale */
    size_t cut_peaks; /* see sound/peaks.h */
    size_t gaps;      /* beside voice, see sound/gaps.h */
    double pause_s, noise_db, softest_db, hum_db, gain_db; /* see voice/quiet.h */
    int hum_hz;
    double band_hz; /* see sound/band.h */
    double decay_s; /* see voice/echo.h */
    size_t endings;
    double second_share; /* see voice/duet.h */
} verdict_figures;

void verdict_of(const verdict_figures *f, checkup *out);

#endif
