/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/ramp.h"

#include <math.h>

double ramp_exact(double x)
{
    return 0.5 * (1 + erf(1.8124 * x));
}

void ramp_fill(ramp *r)
{
    for (int k = 0; k < RAMP_LAST + 2; k++)
        r->at[k] = ramp_exact((double)k / RAMP_STEPS - RAMP_REACH);
}
