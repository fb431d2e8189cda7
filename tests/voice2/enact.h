/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_ENACT_H
#define VOICE2_ENACT_H

/* What the second voice does with a chart: where it flips, and source and tract from then on.
 *
 * The rule sees the level that comes out, as predicted from the closed-form pulse through the
 * tract; render.h makes the sound have that level. */

#include "voice2/chart.h"
#include "voice2/turn.h"

typedef struct act {
    contour line;         /* as meant */
    size_t n;             /* steps of CHART_STEP_S */
    double *pitch_st;     /* with vibrato, without jitter */
    double *level_db;     /* asked for; -INFINITY when not voiced */
    double *predicted_db; /* of unit pulses through the tract */
    double *weight;       /* of M2 */
    double *open, *skew, *tilt_hz, *air_db;
    throat *throat;     /* a step each */
    unsigned char *reg; /* truth: 1, 2; 0 not voiced (gate below -20 dB) */
    size_t n_turns;
    turn *turns;
} act;

act enact(const vocalist *v, const chart *c, int take);
void act_clear(act *a);

/* Level (dB, RMS) of pulses of unit flow (1 at maximum) at pitch_st through the tract, run at
 * rate_hz. */
double enact_pulses_db(const throat *t, double open, double skew, double tilt_hz, double pitch_st,
                       double rate_hz);

#define ENACT_RATE_HZ 96000.0 /* near the rate at which tracts run: see render.h */

#endif
