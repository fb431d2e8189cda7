/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/ramp.h"

#include <math.h>

void ramp_fill(ramp *r)
{
    for (int k = 0; k < RAMP_LAST + 2; k++)
        r->at[k] = 0.5 * (1 + erf(1.8124 * ((double)k / RAMP_STEPS - RAMP_REACH)));
}
