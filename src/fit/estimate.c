/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/estimate.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_statistics_double.h>

estimate_settings estimate_defaults(void)
{
    return (estimate_settings){.share = 0.03, .rate_floor = 0.1, .slack_st = 0.25};
}

void estimate_free(estimate *e)
{
    if (!e)
        return;
    free(e->likelihood.obs);
    free(e->likelihood.points);
    likelihood_grid_free(e->likelihood.grid);
    free(e);
}

static threshold_point point_of(level_pitch p, double at_db)
{
    return (threshold_point){p.pitch_st, {p.level_db - at_db, 0}};
}

static threshold_obs observation_of(const attempt *t, unsigned group, double at_db)
{
    return (threshold_obs){.group = group,
                           .cluster = t->path,
                           .sign = t->direction == FLIP_UP ? 1 : -1,
                           .truncated = true,
                           .ended = t->flipped,
                           .rated = true,
                           .weight = t->weight,
                           .first = t->first,
                           .n_points = t->n_hull,
                           .start = point_of(t->start, at_db),
                           .end = point_of(t->crossing, at_db),
                           .rate = {t->rate.pitch_st, {t->rate.level_db, 0}}};
}

static void count_flips(const attempts *a, estimate *e)
{
    for (int d = 0; d < 2; d++)
        e->level_lo_db[d] = e->level_hi_db[d] = (double)NAN;
    for (size_t i = 0; i < a->n; i++) {
        const attempt *t = &a->items[i];
        if (!t->flipped)
            continue;
        e->flips[t->direction] += t->weight;
        if (t->weight < 0.5)
            continue;
        e->fitted[t->direction] = true;
        e->level_lo_db[t->direction] = fmin(e->level_lo_db[t->direction], t->before.level_db);
        e->level_hi_db[t->direction] = fmax(e->level_hi_db[t->direction], t->before.level_db);
    }
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

static double mean_seconds(const attempts *a)
{
    double sum = 0;
    for (size_t i = 0; i < a->n; i++)
        sum += a->items[i].seconds;
    return a->n ? fmax(sum / (double)a->n, 0.1) : 1.0;
}

static void build(estimate *e, const attempts *a, double at_db, const estimate_settings *s)
{
    likelihood *l = &e->likelihood;
    l->obs = xmalloc(a->n, sizeof *l->obs);
    l->points = xmalloc(a->n_hull, sizeof *l->points);
    for (size_t i = 0; i < a->n_hull; i++)
        l->points[i] = point_of(a->hull[i], at_db);
    for (size_t i = 0; i < a->n; i++) {
        flip_direction d = a->items[i].direction;
        if (e->fitted[d])
            l->obs[l->n++] = observation_of(&a->items[i], e->group[d], at_db);
    }
    l->offset = has_offset(l);
    if (l->offset)
        likelihood_grid_new(l, 1.0);
    l->n_x = 1;
    l->shared = true;
    l->share = s->share;
    l->span_s = mean_seconds(a);
    l->rate_floor = s->rate_floor;
    l->slack = s->slack_st;
}

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
static objective objective_of(const penalised *p)
{
    const likelihood *l = p->likelihood;
    objective f = {likelihood_parameters(l), penalised_value, p, {0}};
    for (size_t i = 0; i < f.n; i++)
        f.scale[i] = 0.2;
    for (unsigned g = 0; g < l->groups; g++)
        f.scale[likelihood_b(l, g, 0)] = 0.03;
    return f;
}

static const double FLAT = 1e-3;
enum { SLOPES = 4, SPREADS = 2, STARTS = SLOPES * SPREADS, CLIMBS = 2 };

/* Climbs from the best CLIMBS of STARTS places; starts in ascending order of value are kept. */
static maximum climb(const objective *f, const likelihood *l)
{
    static const double slopes[SLOPES] = {-0.1, 0.1, 0.3, 0.6}, spreads[SPREADS] = {0.4, 1.0};
    double start[STARTS][MAXIMUM_PARAMETERS], value[STARTS];
    double *room = xmalloc(l->n, sizeof *room);
    for (int i = 0; i < STARTS; i++) {
        start_at(l, slopes[i % SLOPES], spreads[i / SLOPES], room, start[i]);
        value[i] = f->value(f->data, start[i], NULL);
    }
    free(room);
    square directions = {0};
    for (size_t i = 0; i < f->n; i++)
        directions.at[i][i] = f->scale[i];
    maximum best = {.stop = MAXIMUM_IMPOSSIBLE, .value = -INFINITY};
    for (int c = 0; c < CLIMBS; c++) {
        int top = 0;
        for (int i = 1; i < STARTS; i++)
            if (value[i] > value[top])
                top = i;
        maximum m = maximum_find(f, start[top], f->n, &directions, FLAT);
        if (m.value > best.value)
            best = m;
        value[top] = -INFINITY;
    }
    return best;
}

static void fit_one(estimate *e)
{
    prior_count(&e->prior, &e->likelihood);
    e->penalised = (penalised){&e->likelihood, &e->prior};
    e->fit.f = objective_of(&e->penalised);
    e->fit.top = climb(&e->fit.f, &e->likelihood);
    e->fit.n_means = likelihood_log_s(&e->likelihood, 0);
    fitted_settle(&e->fit);
}

static double aicc(const estimate *e)
{
    double k = (double)likelihood_parameters(&e->likelihood), n = e->flips[0] + e->flips[1];
    double fit = likelihood_value(&e->likelihood, e->fit.top.theta, NULL);
    return n - k - 1 > 0 ? -2 * fit + 2 * k + 2 * k * (k + 1) / (n - k - 1) : INFINITY;
}

/* By how much two slopes have to be better. At 0, two that are the same are told apart one time in
 * six, and the slopes of such a choice are too sure of themselves; at 4 one time in eighty. */
static const double PARTING = 4.0;

static bool could_part(const estimate *e)
{
    for (int d = 0; d < 2; d++)
        if (!e->fitted[d] || e->flips[d] < 4 || e->level_hi_db[d] - e->level_lo_db[d] < 4)
            return false;
    return true;
}

static void fit_best(estimate *e)
{
    fit_one(e);
    if (!could_part(e))
        return;
    estimate one = *e;
    e->likelihood.shared = false;
    fit_one(e);
    if (e->fit.settled && aicc(e) < aicc(&one) - PARTING)
        return;
    *e = one;
    e->penalised = (penalised){&e->likelihood, &e->prior};
    e->fit.f.data = &e->penalised;
}

estimate *estimate_new(const attempts *a, double at_db, double pitch_st, const estimate_settings *s)
{
    estimate *e = xcalloc(1, sizeof *e);
    count_flips(a, e);
    e->group[FLIP_DOWN] = e->fitted[FLIP_UP] ? 1 : 0;
    e->likelihood.groups = (unsigned)e->fitted[FLIP_UP] + (unsigned)e->fitted[FLIP_DOWN];
    if (!e->likelihood.groups)
        return e;
    build(e, a, at_db, s);
    e->prior = prior_defaults();
    e->prior.pitch_st = pitch_st;
    fit_best(e);
    return e;
}

void estimate_contrast(const estimate *e, flip_direction d, double level_less_at_db,
                       double contrast[MAXIMUM_PARAMETERS])
{
    memset(contrast, 0, MAXIMUM_PARAMETERS * sizeof *contrast);
    contrast[likelihood_b0(&e->likelihood, e->group[d])] = 1;
    contrast[likelihood_b(&e->likelihood, e->group[d], 0)] = level_less_at_db;
}
