/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/estimate.h"

#include "base/array.h"
#include "fit/take_after.h"
#include "fit/threshold.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_statistics_double.h>

/* Observations from which on the search starts from a part of them. */
enum { MANY = 150 };
/* Offset over spread up to which the grid is fine enough; a finer one is made where needed. */
static const double GRID_RATIO = 1.0, GRID_RATIO_MOST = 5.0;

estimate_settings estimate_defaults(void)
{
    return (estimate_settings){.share = 0.03, .rate_floor = 0.1, .slack_st = 0.25};
}

void estimate_free(estimate *e)
{
    if (!e)
        return;
    free(e->real);
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
        likelihood_grid_new(l, GRID_RATIO);
    l->n_x = 1;
    l->shared = !e->prior.slopes_known;
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
static maximum climb_from(const objective *f, const double *start)
{
    square directions = {0};
    for (size_t i = 0; i < f->n; i++)
        directions.at[i][i] = f->scale[i];
    return maximum_find(f, start, f->n, &directions, FLAT);
}

enum { SLOPES = 4, SPREADS = 2, STARTS = SLOPES * SPREADS, CLIMBS = 2 };

/* Every group has a definite end to start from. */
static bool starts_known(const likelihood *l)
{
    size_t ends[LIKELIHOOD_GROUPS] = {0};
    for (size_t i = 0; i < l->n; i++)
        ends[l->obs[i].group] += l->obs[i].ended && l->obs[i].weight >= 0.5;
    return ends[0] && (l->groups == 1 || ends[1]);
}

/* Climbs from the best CLIMBS of STARTS places. */
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
    maximum best = {.stop = MAXIMUM_IMPOSSIBLE, .value = -INFINITY};
    for (int c = 0; c < CLIMBS; c++) {
        int top = 0;
        for (int i = 1; i < STARTS; i++)
            if (value[i] > value[top])
                top = i;
        maximum m = climb_from(f, start[top]);
        if (m.value > best.value)
            best = m;
        value[top] = -INFINITY;
    }
    return best;
}

/* From opt_start, or from where the boundary may be. */
static void fit_one(estimate *e, const double *opt_start)
{
    prior_count(&e->prior, &e->likelihood);
    e->penalised = (penalised){&e->likelihood, &e->prior};
    e->fit.f = objective_of(&e->penalised);
    e->fit.n_means = likelihood_log_s(&e->likelihood, 0);
    e->fit.top = opt_start ? climb_from(&e->fit.f, opt_start) : climb(&e->fit.f, &e->likelihood);
}

static bool could_part(const estimate *e)
{
    for (int d = 0; d < 2; d++)
        if (!e->fitted[d] || e->flips[d] < 2 || e->level_hi_db[d] - e->level_lo_db[d] < 4)
            return false;
    return true;
}

/* The place with one slope as a place with two. */
static void part_slopes(const likelihood *l, const double *shared, double *theta)
{
    size_t after = likelihood_log_s(l, 0);
    memcpy(theta, shared, after * sizeof *theta);
    memcpy(&theta[after], &shared[after - l->n_x],
           (likelihood_parameters(l) - after) * sizeof *theta);
    for (unsigned k = 0; k < l->n_x; k++)
        theta[likelihood_b(l, 1, k)] = shared[likelihood_b(l, 0, k)];
}

/* Offset over the smaller spread. */
static double offset_ratio(const estimate *e)
{
    const likelihood *l = &e->likelihood;
    const double *theta = e->fit.top.theta;
    double s = exp(theta[likelihood_log_s(l, 0)]);
    if (l->groups == 2)
        s = fmin(s, exp(theta[likelihood_log_s(l, 1)]));
    return fabs(theta[likelihood_offset(l)]) / s;
}

/* Two slopes are sought from the best shared one and from where they lie without the prior that
 * holds them together, since the higher of two hills may be either. */
static void fit_apart(estimate *e)
{
    double start[MAXIMUM_PARAMETERS] = {0}, apart = e->prior.slope_apart;
    double shared[MAXIMUM_PARAMETERS];
    memcpy(shared, e->fit.top.theta, sizeof shared);
    e->likelihood.shared = false;
    part_slopes(&e->likelihood, shared, start);
    e->prior.slope_apart = INFINITY;
    fit_one(e, start);
    e->prior.slope_apart = apart;
    fit_one(e, e->fit.top.theta);
    maximum near = climb_from(&e->fit.f, start);
    if (near.value > e->fit.top.value)
        e->fit.top = near;
}

/* With many observations the search starts from the answer of every so-manieth cluster. */
static void fit_from_few(estimate *e)
{
    size_t every = e->likelihood.n / MANY + 1, n = 0;
    if (every == 1) {
        fit_one(e, NULL);
        return;
    }
    estimate few = *e;
    few.likelihood.obs = xmalloc(e->likelihood.n, sizeof *few.likelihood.obs);
    for (size_t i = 0; i < e->likelihood.n; i++)
        if (e->likelihood.obs[i].cluster % every == 0)
            few.likelihood.obs[n++] = e->likelihood.obs[i];
    few.likelihood.n = n;
    bool enough = starts_known(&few.likelihood);
    if (enough)
        fit_one(&few, NULL);
    fit_one(e, enough ? few.fit.top.theta : NULL);
    free(few.likelihood.obs);
}

static void fit_best(estimate *e)
{
    fit_from_few(e);
    if (e->likelihood.offset && offset_ratio(e) > GRID_RATIO) {
        likelihood_grid_new(&e->likelihood, fmin(1.5 * offset_ratio(e), GRID_RATIO_MOST));
        fit_one(e, e->fit.top.theta);
    }
    if (could_part(e) && !e->prior.slopes_known)
        fit_apart(e);
}

/* Of each flip, the share of its likelihood that is no contamination, without its take's offset. */
static void judge(estimate *e, const attempts *a)
{
    size_t next = 0;
    for (size_t i = 0; i < a->n; i++) {
        if (!e->fitted[a->items[i].direction])
            continue;
        reduced r = threshold_reduce(&e->likelihood, &e->likelihood.obs[next++], e->fit.top.theta);
        if (a->items[i].flipped)
            e->real[i] = threshold_part(&e->likelihood, &r, 0).ended;
    }
}

estimate *estimate_new(const attempts *a, double at_db, double pitch_st, const estimate *opt_like,
                       const estimate_settings *s)
{
    estimate *e = xcalloc(1, sizeof *e);
    count_flips(a, e);
    for (int d = 0; opt_like && d < 2; d++)
        e->fitted[d] &= opt_like->fitted[d] && opt_like->fit.settled;
    e->real = array_filled(a->n, 1);
    e->group[FLIP_DOWN] = e->fitted[FLIP_UP] ? 1 : 0;
    e->likelihood.groups = (unsigned)e->fitted[FLIP_UP] + (unsigned)e->fitted[FLIP_DOWN];
    if (!e->likelihood.groups)
        return e;
    e->prior = prior_defaults();
    e->prior.pitch_st = pitch_st;
    if (opt_like)
        prior_take_after(&e->prior, opt_like, e);
    build(e, a, at_db, s);
    fit_best(e);
    fitted_settle(&e->fit);
    judge(e, a);
    return e;
}

void estimate_contrast(const estimate *e, flip_direction d, double level_less_at_db,
                       double contrast[MAXIMUM_PARAMETERS])
{
    memset(contrast, 0, MAXIMUM_PARAMETERS * sizeof *contrast);
    contrast[likelihood_b0(&e->likelihood, e->group[d])] = 1;
    contrast[likelihood_b(&e->likelihood, e->group[d], 0)] = level_less_at_db;
}
