/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/loudness.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

static const double lowest_db = -250, step_db = 0.01;
enum { STEPS = 30000 };

struct loudness {
    size_t n, silent, count[STEPS];
};

loudness *loudness_new(void)
{
    return xcalloc(1, sizeof(loudness));
}

void loudness_free(loudness *l)
{
    free(l);
}

void loudness_add(loudness *l, const double *level_db, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        double at = floor((level_db[i] - lowest_db) / step_db);
        if (at >= 0)
            l->count[(size_t)fmin(at, STEPS - 1)]++;
        else
            l->silent++;
    }
    l->n += n;
}

double loudness_of(const loudness *l, double share)
{
    if (!l->n)
        return (double)NAN;
    size_t rank = (size_t)(share * (double)(l->n - 1)), below = l->silent;
    if (rank < below)
        return -(double)INFINITY;
    size_t at = 0;
    while (at + 1 < STEPS && rank >= below + l->count[at])
        below += l->count[at++];
    return lowest_db + ((double)at + 0.5) * step_db;
}
