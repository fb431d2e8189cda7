/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/climb.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_statistics_double.h>

/* Median over the group's flips of pitch less slope times level. */
static double start_pitch(const likelihood *l, unsigned group, double slope, double *room)
{
    size_t n = 0;
    for (size_t i = 0; i < l->n; i++) {
        const threshold_obs *o = &l->obs[i];
        if (o->group == group && o->ended && o->weight >= 0.5)
            room[n++] = o->end.y - slope * o->end.x[0];
    }
    return gsl_stats_median(room, 1, n);
}

static void start_at(const likelihood *l, double slope, double spread, double *room, double *theta)
{
    memset(theta, 0, MAXIMUM_PARAMETERS * sizeof *theta);
    for (unsigned g = 0; g < l->groups; g++) {
        theta[likelihood_b0(l, g)] = start_pitch(l, g, slope, room);
        theta[likelihood_b(l, g, 0)] = slope;
        theta[likelihood_log_s(l, g)] = log(spread);
    }
    if (l->offset)
        theta[likelihood_offset(l)] = 0.3;
}

/* Standard errors with some ten flips, in st, st/dB and log st. */
objective climb_objective(const penalised *p)
{
    const likelihood *l = p->likelihood;
    objective f = {likelihood_parameters(l), penalised_value, p, {0}};
    for (size_t i = 0; i < f.n; i++)
        f.scale[i] = 0.2;
    for (unsigned g = 0; g < l->groups; g++)
        f.scale[likelihood_b(l, g, 0)] = 0.03;
    if (l->n_x > 1)
        f.scale[likelihood_b(l, 0, 1)] = 0.003;
    if (l->scatter)
        f.scale[likelihood_scatter(l)] = 0.4;
    return f;
}

/* Observations for which climb_objective's scales are right. */
static const double SCALED_FOR = 20;
static const double FLAT = 1e-3;
maximum climb_from(const objective *f, const likelihood *l, const double *start)
{
    square directions = {0};
    for (size_t i = 0; i < f->n; i++)
        directions.at[i][i] = f->scale[i] / sqrt(fmax((double)l->n / SCALED_FOR, 1));
    return maximum_find(f, start, f->n, &directions, FLAT);
}

enum { SLOPES = 4, SPREADS = 2, STARTS = SLOPES * SPREADS, CLIMBS = 2 };

/* Every group has a definite end to start from. */
bool climb_known(const likelihood *l)
{
    size_t ends[LIKELIHOOD_GROUPS] = {0};
    for (size_t i = 0; i < l->n; i++)
        ends[l->obs[i].group] += l->obs[i].ended && l->obs[i].weight >= 0.5;
    return ends[0] && (l->groups == 1 || ends[1]);
}

/* Climbs from the best CLIMBS of STARTS places. */
maximum climb_anywhere(const objective *f, const likelihood *l)
{
    static const double slopes[SLOPES] = {-0.1, 0.1, 0.3, 0.6}, spreads[SPREADS] = {0.4, 1.0};
    double start[STARTS][MAXIMUM_PARAMETERS], value[STARTS];
    double *room = xmalloc(l->n, sizeof *room);
    for (int i = 0; i < STARTS; i++) {
        start_at(l, slopes[i % SLOPES], spreads[i / SLOPES], room, start[i]);
        value[i] = f->value(f->data, start[i], NULL);
    }
    free(room);
    maximum best = {.stop = MAXIMUM_IMPOSSIBLE, .value = -INFINITY};
    for (int c = 0; c < CLIMBS; c++) {
        int top = 0;
        for (int i = 1; i < STARTS; i++)
            if (value[i] > value[top])
                top = i;
        maximum m = climb_from(f, l, start[top]);
        if (m.value > best.value)
            best = m;
        value[top] = -INFINITY;
    }
    return best;
}
