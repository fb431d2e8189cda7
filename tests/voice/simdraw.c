/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/simdraw.h"

#include <math.h>

#include <gsl/gsl_randist.h>

simsinger simdraw_singer(double false_share, double apart, gsl_rng *r)
{
    double slope = gsl_ran_flat(r, -0.1, 0.4), up = gsl_ran_flat(r, 58, 70);
    double leap = gsl_ran_flat(r, 0, 8);
    simsinger s = {.at_db = 70,
                   .up_st = up,
                   .down_st = up - gsl_ran_flat(r, 0.5, 4),
                   .up_slope = slope,
                   .down_slope = slope + gsl_ran_flat(r, -1, 1) * apart,
                   .up_spread = gsl_ran_flat(r, 0.3, 1.2),
                   .down_spread = gsl_ran_flat(r, 0.3, 1.2),
                   .offset_st = gsl_ran_flat(r, 0, 0.7),
                   .up_leap_st = leap,
                   .down_leap_st = -leap,
                   .leap_sd_st = gsl_ran_flat(r, 0, 1.5),
                   .false_share = false_share};
    return s;
}

simtake simdraw_take(const simsinger *s, gsl_rng *r)
{
    double level = gsl_ran_flat(r, 58, 82), at = simpath_boundary(s, FLIP_UP, level);
    simtake t = {.kind = SIM_SLIDE,
                 .from_st = at - gsl_ran_flat(r, 5, 10),
                 .to_st = at + gsl_ran_flat(r, 2, 8),
                 .from_db = level,
                 .to_db = level,
                 .drift_db = gsl_ran_flat(r, -3, 3),
                 .seconds = gsl_ran_flat(r, 2, 5),
                 .step_s = 0.005};
    if (gsl_rng_uniform(r) >= 0.3)
        return t;
    double reach = 10 * fabs(s->up_slope) + 0.5 * (s->up_st - s->down_st);
    bool from_loud = gsl_rng_uniform(r) < 0.5;
    t.kind = SIM_SWELL;
    t.from_st = 0.5 * (s->up_st + s->down_st) + gsl_ran_flat(r, -reach, reach);
    t.from_db = from_loud ? gsl_ran_flat(r, 77, 83) : gsl_ran_flat(r, 57, 63);
    t.to_db = from_loud ? gsl_ran_flat(r, 57, 63) : gsl_ran_flat(r, 77, 83);
    t.drift_db = 0;
    return t;
}
