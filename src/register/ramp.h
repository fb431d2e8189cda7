/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_RAMP_H
#define REGISTER_RAMP_H

/* A step that takes its time: the cumulative normal, from 0 to 1. */

enum { RAMP_REACH = 2, RAMP_STEPS = 512, RAMP_LAST = 2 * RAMP_REACH * RAMP_STEPS };
typedef struct ramp {
    double at[RAMP_LAST + 2];
} ramp;

double ramp_exact(double x); /* x: from the middle, in 10-90 % times */
void ramp_fill(ramp *r);

/* The same, straight between the values held, within 1e-6. */
static inline double ramp_at(const ramp *r, double x)
{
    double u = (x + RAMP_REACH) * RAMP_STEPS;
    u = u < 0 ? 0 : u > RAMP_LAST ? RAMP_LAST : u;
    int k = (int)u;
    return r->at[k] + (u - k) * (r->at[k + 1] - r->at[k]);
}

#endif
