/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/estimate.h"

#include "base/array.h"
#include "fit/climb.h"
#include "fit/observe.h"
#include "fit/take_after.h"
#include "fit/threshold.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_randist.h>
#include <gsl/gsl_statistics_double.h>

/* A curve is tried from so many flips over such a range on: one more than its coefficients,
 * spreads and offset. With fewer, what is told of straight voices would get wide for nothing. */
static const double CURVE_FLIPS = 9, CURVE_RANGE_DB = 8;
/* What is less probable is left out. */
static const double NEGLIGIBLE = 0.01;
/* Offset over spread up to which the grid is fine enough; a finer one is made where needed. Many
 * observations tell the ratio so well that a coarser one does, with less room above what was
 * found. */
static const double GRID_RATIO = 1.0, GRID_RATIO_MOST = 5.0, GRID_ROOM = 1.5;
static const double MANY_RATIO = 0.3, MANY_ROOM = 1.2;

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
    free(e->other);
    free(e);
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

/* From opt_start, or from where the boundary may be. */
static void fit_one(estimate *e, const double *opt_start)
{
    prior_count(&e->prior, &e->likelihood);
    e->penalised = (penalised){&e->likelihood, &e->prior};
    e->fit.f = climb_objective(&e->penalised);
    e->fit.n_means = likelihood_log_s(&e->likelihood, 0);
    e->fit.prior_precision = e->prior.slopes_known ? 0 : pow(e->prior.spread_sd, -2);
    e->fit.top = opt_start ? climb_from(&e->fit.f, &e->likelihood, opt_start)
                           : climb_anywhere(&e->fit.f, &e->likelihood);
}

static bool could_part(const estimate *e)
{
    for (int d = 0; d < 2; d++)
        if (!e->fitted[d] || e->flips[d] < 2 || e->level_hi_db[d] - e->level_lo_db[d] < 4)
            return false;
    return true;
}

/* Makes room for one parameter at `at`, before those that are there. */
static void insert(const likelihood *l_with, size_t at, double value, double *theta)
{
    memmove(&theta[at + 1], &theta[at], (likelihood_parameters(l_with) - at - 1) * sizeof *theta);
    theta[at] = value;
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
    double start[MAXIMUM_PARAMETERS], apart = e->prior.slope_apart;
    memcpy(start, e->fit.top.theta, sizeof start);
    e->likelihood.shared = false;
    insert(&e->likelihood, likelihood_b(&e->likelihood, 1, 0),
           start[likelihood_b(&e->likelihood, 0, 0)], start);
    e->prior.slope_apart = INFINITY;
    fit_one(e, start);
    e->prior.slope_apart = apart;
    fit_one(e, e->fit.top.theta);
    maximum near = climb_from(&e->fit.f, &e->likelihood, start);
    if (near.value > e->fit.top.value)
        e->fit.top = near;
}

static void grid_for_offset(estimate *e)
{
    bool many = e->likelihood.n >= LIKELIHOOD_MANY;
    double ratio = fmin((many ? MANY_ROOM : GRID_ROOM) * offset_ratio(e), GRID_RATIO_MOST);
    likelihood_grid_new(&e->likelihood, fmax(ratio, many ? MANY_RATIO : GRID_RATIO));
}

/* Takes may turn out to differ by more than the grid is made for. */
static void fit_finer(estimate *e)
{
    const likelihood *l = &e->likelihood;
    if (l->offset && offset_ratio(e) > likelihood_grid_ratio(l)) {
        grid_for_offset(e);
        fit_one(e, e->fit.top.theta);
    }
}

/* The straight boundary, all takes of one session. */
static void fit_straight(estimate *e)
{
    fit_one(e, NULL);
    fit_finer(e);
    if (could_part(e) && !e->prior.slopes_known)
        fit_apart(e);
}

/* With many observations it is sought among every so-manieth cluster, and from there among all. */
static void fit_from_few(estimate *e)
{
    size_t every = e->likelihood.n / LIKELIHOOD_MANY + 1, n = 0;
    estimate few = *e;
    few.likelihood.obs = xmalloc(e->likelihood.n, sizeof *few.likelihood.obs);
    for (size_t i = 0; every > 1 && i < e->likelihood.n; i++)
        if (e->likelihood.obs[i].cluster % every == 0)
            few.likelihood.obs[n++] = e->likelihood.obs[i];
    few.likelihood.n = n;
    few.likelihood.grid = NULL;
    if (n > 0 && climb_known(&few.likelihood)) {
        if (few.likelihood.offset)
            likelihood_grid_new(&few.likelihood, GRID_RATIO);
        fit_straight(&few);
        e->likelihood.shared = few.likelihood.shared;
        e->fit = few.fit;
        if (e->likelihood.offset)
            grid_for_offset(e);
        fit_one(e, few.fit.top.theta);
        fit_finer(e);
    } else {
        fit_straight(e);
    }
    likelihood_grid_free(few.likelihood.grid);
    free(few.likelihood.obs);
}

/* Part of what takes differed by was the sessions'. */
static void fit_scatter(estimate *e)
{
    likelihood *l = &e->likelihood;
    double start[MAXIMUM_PARAMETERS], scatter = e->prior.scatter_st;
    memcpy(start, e->fit.top.theta, sizeof start);
    if (l->offset) {
        double *t = &start[likelihood_offset(l)];
        *t *= M_SQRT1_2;
        scatter = fmax(fabs(*t), 0.2);
    }
    l->scatter = true;
    if (l->offset)
        grid_for_offset(e);
    else
        likelihood_grid_new(l, GRID_RATIO);
    insert(l, likelihood_scatter(l), log(scatter), start);
    fit_one(e, start);
    fit_finer(e);
}

static bool could_bend(const estimate *e)
{
    double lo = fmin(e->level_lo_db[0], e->level_lo_db[1]);
    double hi = fmax(e->level_hi_db[0], e->level_hi_db[1]);
    return e->flips[0] + e->flips[1] >= CURVE_FLIPS && hi - lo >= CURVE_RANGE_DB;
}

/* Of what it points to all but itself is the straight one's. */
static estimate *curved_of(const estimate *straight)
{
    estimate *e = xmalloc(1, sizeof *e);
    double start[MAXIMUM_PARAMETERS];
    *e = *straight;
    memcpy(start, e->fit.top.theta, sizeof start);
    e->likelihood.n_x = 2;
    insert(&e->likelihood, likelihood_b(&e->likelihood, 0, 1), 0, start);
    fit_one(e, start);
    fitted_settle(&e->fit);
    return e;
}

static double probability_of_curve(const estimate *curved)
{
    double contrast[MAXIMUM_PARAMETERS] = {0};
    size_t at = likelihood_b(&curved->likelihood, 0, 1);
    contrast[at] = 1;
    if (!curved->fit.settled)
        return 0;
    double sd = sqrt(fitted_variance(&curved->fit, contrast));
    double nu = interval_freedom(&curved->fit, contrast);
    double after = gsl_ran_tdist_pdf(curved->fit.top.theta[at] / sd, nu) / sd;
    return 1 / (1 + after / gsl_ran_gaussian_pdf(curved->prior.curve, curved->prior.curve_sd));
}

static void point_to_own(estimate *e)
{
    e->penalised = (penalised){&e->likelihood, &e->prior};
    e->fit.f.data = &e->penalised;
}

/* Both are settled; the likelier one becomes e, the other is dropped where it is negligible. */
static void try_curve(estimate *e)
{
    estimate *curved = curved_of(e), straight = *e;
    double p = probability_of_curve(curved);
    e->curved = curved->curved = p;
    e->other = curved;
    if (p > 0.5) {
        *e = *curved;
        *curved = straight;
        e->other = curved;
        point_to_own(e);
        point_to_own(curved);
    }
    if (fmin(p, 1 - p) < NEGLIGIBLE) {
        free(e->other);
        e->other = NULL;
    }
}

static void fit_best(estimate *e)
{
    fit_from_few(e);
    if (observe_scatter(&e->likelihood))
        fit_scatter(e);
    fitted_settle(&e->fit);
    if (could_bend(e) && !e->prior.slopes_known)
        try_curve(e);
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
    e->curved = (double)NAN;
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
    e->likelihood.n_x = opt_like ? opt_like->likelihood.n_x : 1;
    if (opt_like)
        prior_take_after(&e->prior, opt_like, e);
    observe(e, a, at_db, s);
    if (e->likelihood.offset)
        likelihood_grid_new(&e->likelihood, GRID_RATIO);
    fit_best(e);
    judge(e, a);
    return e;
}

void estimate_contrast(const estimate *e, flip_direction d, double level_less_at_db,
                       double contrast[MAXIMUM_PARAMETERS])
{
    memset(contrast, 0, MAXIMUM_PARAMETERS * sizeof *contrast);
    contrast[likelihood_b0(&e->likelihood, e->group[d])] = 1;
    contrast[likelihood_b(&e->likelihood, e->group[d], 0)] = level_less_at_db;
    if (e->likelihood.n_x > 1)
        contrast[likelihood_b(&e->likelihood, e->group[d], 1)] =
            level_less_at_db * level_less_at_db;
}

double estimate_pitch_by(const estimate *e, const double *theta, flip_direction d,
                         double level_less_at_db)
{
    double c[MAXIMUM_PARAMETERS], sum = 0;
    estimate_contrast(e, d, level_less_at_db, c);
    for (size_t i = 0; i < e->fit.f.n; i++)
        sum += c[i] * theta[i];
    return sum;
}

double estimate_pitch(const estimate *e, flip_direction d, double level_less_at_db)
{
    return estimate_pitch_by(e, e->fit.top.theta, d, level_less_at_db);
}
