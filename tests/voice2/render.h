/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_RENDER_H
#define VOICE2_RENDER_H

/* From an act to sound.
 *
 * Cycles are laid at their exact times as flow at four times the tract's rate, softened by the pole
 * of their tilt and brought down by soxr: what folds back below 10 kHz is 60 dB under what it falls
 * on. The tract runs at 88.2 or 96 kHz; what radiates is the difference of the flow that leaves it.
 * Breath noise has a tract of its own. */

#include "voice2/enact.h"

typedef struct clip {
    size_t n;
    int rate_hz;
    double *samples; /* full scale 1.0 */
} clip;

typedef struct cycle {
    double start_s, length_s;
    double more_db; /* shimmer, irregularity, doubling */
    size_t step;    /* of the act, at its middle */
} cycle;

/* The take's glottal cycles in order of time, voiced or not; to be freed. */
size_t render_cycles(const vocalist *v, const act *a, int take, cycle **out);

/* The glottal flow alone, softened, at rate_hz (four times that inside). `opening` (0..1, may be
 * NULL) is how far the glottis is open at each sample. */
clip render_source(const act *a, const cycle *cycles, size_t n_cycles, int rate_hz,
                   double *opening);

clip render_clean(const vocalist *v, const act *a, int take); /* at the singer's rate */
/* Adds room, noise and hum. */
void render_place(const vocalist *v, clip *c, int take);
void clip_clear(clip *c);

/* RMS (dB re full scale) over a Hann window of window_s around t_s. */
double clip_level_db(const clip *c, double t_s, double window_s);

#endif
