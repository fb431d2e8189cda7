/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_SIMPATH_H
#define VOICE_SIMPATH_H

/* Labelled frames of a singer whose boundary is known: no sound, only pitch, level and register.
 *
 * Each attempt draws its own threshold, N(0, spread) about the boundary, given that it is not yet
 * passed where the attempt starts; the register changes in the first frame past it. A take starts
 * in M1 where that is below the up-boundary as it is without the take's own shift. */

#include "fit/boundary.h"

#include <gsl/gsl_rng.h>

typedef struct simsinger {
    double at_db;                    /* level at which pitches are stated */
    double up_st, down_st;           /* the boundary there; hysteresis is their difference */
    double up_slope, down_slope;     /* st/dB */
    double curve;                    /* of both, st/dB^2; the slopes are those at at_db */
    double up_spread, down_spread;   /* st */
    double offset_st;                /* standard deviation of the take's own shift */
    double up_leap_st, down_leap_st; /* pitch after less before: >= 0 and <= 0 in most voices */
    double leap_sd_st;               /* of one leap from the next */
    double false_share;              /* share of takes with a burst of wrong labels, 60-300 ms */
} simsinger;

typedef enum simkind { SIM_SLIDE, SIM_SWELL } simkind;

/* A slide goes from_st to to_st and back at from_db, a swell from_db to to_db and back at
 * from_st; drift_db is added to the level evenly over the take. */
typedef struct simtake {
    simkind kind;
    double from_st, to_st, from_db, to_db, drift_db;
    double seconds, step_s; /* 0.005 */
    bool one_way;           /* does not come back */
} simtake;

/* The pitch of the boundary at a level. */
double simpath_boundary(const simsinger *s, flip_direction d, double level_db);

/* A path that owns its arrays; free with simpath_free. take is borrowed. */
path simpath_new(const simsinger *s, const simtake *t, const char *take, gsl_rng *r);
void simpath_free(path *p);

#endif
