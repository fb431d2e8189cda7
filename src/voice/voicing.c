/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/voicing.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

static const double most_odds = 300; /* of a frame, as a logarithm: what e to it can be */

/* The odds after one step of the chain: voice stays or ends, none stays or begins. */
static double step(double odds, double change)
{
    return (odds * (1 - change) + change) / (odds * change + (1 - change));
}

/* forward[i] = odds[i] step(forward[i - 1]), the backward pass alike; a frame's probability comes
 * from both, its own evidence counted once. Even odds before and after. */
void voicing_chain(const double *odds, size_t n, double change_per_frame, double *probability)
{
    double *before = xmalloc(n, sizeof *before), *own = xmalloc(n, sizeof *own), at = 1;
    for (size_t i = 0; i < n; i++) {
        own[i] = exp(fmax(-most_odds, fmin(odds[i], most_odds)));
        before[i] = at;
        at = step(at * own[i], change_per_frame);
    }
    at = 1;
    for (size_t i = n; i-- > 0;) {
        probability[i] = 1 / (1 + 1 / (before[i] * own[i] * at));
        at = step(at * own[i], change_per_frame);
    }
    free(before);
    free(own);
}
