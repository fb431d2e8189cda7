/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/voicing.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

/* The log odds after one step of the chain: voice stays or ends, none stays or begins. */
static double step(double odds, double change)
{
    double p = 1 / (1 + exp(-odds));
    double voiced = p * (1 - change) + (1 - p) * change;
    return log(voiced / (1 - voiced));
}

/* In log odds, forward[i] = odds[i] + step(forward[i - 1]), the backward pass alike; a frame's
 * probability comes from both, its own evidence counted once. Even odds before and after. */
void voicing_chain(const double *odds, size_t n, double change_per_frame, double *probability)
{
    double *before = xmalloc(n, sizeof *before), at = 0;
    for (size_t i = 0; i < n; i++) {
        before[i] = at;
        at = step(at + odds[i], change_per_frame);
    }
    at = 0;
    for (size_t i = n; i-- > 0;) {
        probability[i] = 1 / (1 + exp(-(before[i] + odds[i] + at)));
        at = step(at + odds[i], change_per_frame);
    }
    free(before);
}
