/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/gain.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>

/* A stretch of voice, pauses within it left in; its sides are where noise alone is looked for. */
static const double LEAST_VOICE_S = 0.5, LONGEST_GAP_S = 0.5;
static const double BEFORE_S[2] = {1.0, 0.1}, AFTER_S[2] = {0.15, 0.6};
static const double LEAST_SIDE_S = 0.1;
/* The quietest tenth: noise between clicks and breaths. */
static const double QUIET = 0.1;
static const double DROP_DB = 4;
enum { FEWEST = 3 };

static bool voiced(const path *p, size_t k)
{
    return isfinite(p->pitch_st[k]) && isfinite(p->level_db[k]);
}

/* The quiet level of what is unvoiced from one time to another; NaN with too little of it. */
static double noise(const path *p, double from_s, double to_s)
{
    double *levels = xmalloc(p->n, sizeof *levels), out = (double)NAN, first = INFINITY, last = 0;
    size_t n = 0;
    for (size_t k = 0; k < p->n; k++) {
        if (p->time_s[k] < from_s || p->time_s[k] > to_s || isfinite(p->pitch_st[k]) ||
            !isfinite(p->level_db[k]))
            continue;
        levels[n++] = p->level_db[k];
        first = fmin(first, p->time_s[k]);
        last = p->time_s[k];
    }
    if (n > 1 && last - first >= LEAST_SIDE_S) {
        gsl_sort(levels, 1, n);
        out = gsl_stats_quantile_from_sorted_data(levels, 1, n, QUIET);
    }
    free(levels);
    return out;
}

/* The end of the stretch of voice that begins at frame k. */
static size_t stretch_end(const path *p, size_t k)
{
    size_t last = k;
    for (size_t i = k; i < p->n && p->time_s[i] - p->time_s[last] <= LONGEST_GAP_S; i++)
        if (voiced(p, i))
            last = i;
    return last;
}

gain_signs gain_heard(const path *paths, size_t n)
{
    double *drops = NULL;
    size_t room = 0;
    gain_signs out = {.drop_db = (double)NAN};
    for (size_t i = 0; i < n; i++) {
        const path *p = &paths[i];
        for (size_t k = 0; k < p->n; k++) {
            if (!voiced(p, k))
                continue;
            double start = p->time_s[k], end = p->time_s[k = stretch_end(p, k)];
            double drop = noise(p, start - BEFORE_S[0], start - BEFORE_S[1]) -
                          noise(p, end + AFTER_S[0], end + AFTER_S[1]);
            if (end - start < LEAST_VOICE_S || isnan(drop))
                continue;
            array_reserve((void **)&drops, &room, out.stretches + 1, sizeof *drops);
            drops[out.stretches++] = drop;
        }
    }
    if (out.stretches)
        out.drop_db = gsl_stats_median(drops, 1, out.stretches);
    out.automatic = out.stretches >= FEWEST && out.drop_db >= DROP_DB;
    free(drops);
    return out;
}
