/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/observe.h"

#include "base/array.h"

#include <math.h>

static threshold_point point_of(level_pitch p, double at_db)
{
    double x = p.level_db - at_db;
    return (threshold_point){p.pitch_st, {x, x * x}};
}

static threshold_obs observation_of(const attempt *t, unsigned group, double at_db,
                                    const size_t *opt_session)
{
    double bend = 2 * (t->crossing.level_db - at_db) * t->rate.level_db;
    return (threshold_obs){.group = group,
                           .cluster = t->path,
                           .session = opt_session ? opt_session[t->path] : 0,
                           .sign = t->direction == FLIP_UP ? 1 : -1,
                           .truncated = true,
                           .ended = t->flipped,
                           .rated = true,
                           .weight = t->weight,
                           .first = t->first,
                           .n_points = t->n_hull,
                           .start = point_of(t->start, at_db),
                           .end = point_of(t->crossing, at_db),
                           .rate = {t->rate.pitch_st, {t->rate.level_db, bend}}};
}

/* At least two takes in which two attempts of fitted directions flipped. */
static bool has_offset(const likelihood *l)
{
    size_t twice = 0;
    for (size_t i = 0, j; i < l->n; i = j) {
        size_t ended = 0;
        for (j = i; j < l->n && l->obs[j].cluster == l->obs[i].cluster; j++)
            ended += l->obs[j].ended && l->obs[j].weight >= 0.5;
        twice += ended >= 2;
    }
    return twice >= 2;
}

bool observe_scatter(const likelihood *l)
{
    size_t first = (size_t)-1;
    for (size_t i = 0; i < l->n; i++) {
        if (!l->obs[i].ended || l->obs[i].weight < 0.5)
            continue;
        if (first == (size_t)-1)
            first = l->obs[i].session;
        else if (l->obs[i].session != first)
            return true;
    }
    return false;
}

static double mean_seconds(const attempts *a)
{
    double sum = 0;
    for (size_t i = 0; i < a->n; i++)
        sum += a->items[i].seconds;
    return a->n ? fmax(sum / (double)a->n, 0.1) : 1.0;
}

void observe(estimate *e, const attempts *a, double at_db, const estimate_settings *s)
{
    likelihood *l = &e->likelihood;
    l->obs = xmalloc(a->n, sizeof *l->obs);
    l->points = xmalloc(a->n_hull, sizeof *l->points);
    for (size_t i = 0; i < a->n_hull; i++)
        l->points[i] = point_of(a->hull[i], at_db);
    for (size_t i = 0; i < a->n; i++) {
        flip_direction d = a->items[i].direction;
        if (e->fitted[d])
            l->obs[l->n++] = observation_of(&a->items[i], e->group[d], at_db, s->opt_session);
    }
    l->offset = has_offset(l);
    l->shared = !e->prior.slopes_known;
    l->share = s->share;
    l->span_s = mean_seconds(a);
    l->rate_floor = s->rate_floor;
    l->slack = s->slack_st;
}
