/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/rehearse.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

/* The mean over so many takes has a standard error of a tenth, enough to rank candidates. */
enum { REHEARSALS = 100, STEPS = 160, SEED = 1 };
/* A slide or swell there and back; only the length of the share of wrong ends hangs on it. */
static const double SECONDS = 4.0;

typedef struct rehearsal {
    const estimate *e;
    const plan_take *take;
    double at_db, shift;
    double (*theta)[MAXIMUM_PARAMETERS]; /* [REHEARSALS] */
    gsl_rng *random;
    likelihood l; /* of the takes so far */
    size_t obs_room, points_room, n_points;
} rehearsal;

/* Place at step k, level less at_db. */
static threshold_point place(const rehearsal *r, double step)
{
    const plan_take *t = r->take;
    double way = 1 - fabs(2 * step / STEPS - 1);
    double x = t->from_db + way * (t->to_db - t->from_db) - r->at_db;
    return (threshold_point){t->from_st + way * (t->to_st - t->from_st), {x, x * x}};
}

/* Coefficients as they may be: drawn from what is known of them, so that a take which tells much
 * only if the boundary is just where it seems to be does not look better than it is (Chaloner &
 * Verdinelli 1995, Statistical Science 10:273). Spreads are the best. */
static void draw_theta(const rehearsal *r, double *theta)
{
    const fitted *f = &r->e->fit;
    double z[MAXIMUM_PARAMETERS];
    memcpy(theta, f->top.theta, sizeof f->top.theta);
    for (size_t i = 0; i < f->n_means; i++) {
        z[i] = gsl_ran_ugaussian(r->random);
        for (size_t j = 0; j <= i; j++)
            theta[i] += f->root.at[i][j] * z[j];
    }
}

/* How far beyond the boundary of a direction, as its attempts see it. */
static double beyond(const rehearsal *r, size_t cluster, flip_direction d, const threshold_point *p,
                     double shift)
{
    double f = estimate_pitch_by(r->e, r->theta[cluster], d, p->x[0]) + shift;
    return d == FLIP_UP ? p->y - f : f - p->y;
}

/* A threshold given that it is not yet passed. */
static double draw_threshold(const rehearsal *r, flip_direction d, double z)
{
    const likelihood *l = &r->e->likelihood;
    double s = exp(r->e->fit.top.theta[likelihood_log_s(l, r->e->group[d])]), eps;
    if (z > 0)
        return gsl_ran_gaussian_tail(r->random, z, s);
    do
        eps = gsl_ran_gaussian(r->random, s);
    while (eps <= z);
    return eps;
}

static void add_point(rehearsal *r, threshold_obs *o, threshold_point p)
{
    array_reserve((void **)&r->l.points, &r->points_room, r->n_points + 1, sizeof *r->l.points);
    r->l.points[r->n_points++] = p;
    o->n_points++;
}

/* The attempt from step `from` on; returns the step at which it ended. Its path is two straight
 * legs, of which the ends alone can be the maximum unless the boundary is curved. */
static int attempt_one(rehearsal *r, size_t cluster, flip_direction d, int from)
{
    threshold_point start = place(r, from);
    double limit = draw_threshold(r, d, beyond(r, cluster, d, &start, r->shift));
    threshold_obs o = {.group = r->e->group[d],
                       .cluster = cluster,
                       .sign = d == FLIP_UP ? 1 : -1,
                       .truncated = true,
                       .rated = true,
                       .weight = 1,
                       .first = r->n_points,
                       .start = start};
    int k = from, leg = r->e->likelihood.n_x > 1 ? STEPS / 40 : STEPS / 2;
    add_point(r, &o, start);
    while (k < STEPS && !o.ended) {
        threshold_point next = place(r, ++k);
        o.ended = beyond(r, cluster, d, &next, r->shift) > limit;
        o.end = next;
        if (k % leg == 0 && !o.ended)
            add_point(r, &o, next);
    }
    threshold_point last = place(r, o.ended ? k - 1 : k), then = place(r, k);
    add_point(r, &o, last);
    if (o.ended) {
        double per_s = STEPS / SECONDS;
        o.rate =
            (threshold_point){(then.y - last.y) * per_s,
                              {(then.x[0] - last.x[0]) * per_s, (then.x[1] - last.x[1]) * per_s}};
    }
    array_reserve((void **)&r->l.obs, &r->obs_room, r->l.n + 1, sizeof *r->l.obs);
    r->l.obs[r->l.n++] = o;
    return k;
}

/* A take starts in M1 where that is not beyond the boundary going up. */
static void rehearse(rehearsal *r, size_t cluster)
{
    const likelihood *l = &r->e->likelihood;
    const double *theta = r->e->fit.top.theta;
    double t = l->offset ? fabs(theta[likelihood_offset(l)]) : 0;
    double v = l->scatter ? exp(theta[likelihood_scatter(l)]) : 0;
    threshold_point start = place(r, 0);
    flip_direction d = FLIP_UP;
    draw_theta(r, r->theta[cluster]);
    r->shift = gsl_ran_gaussian(r->random, hypot(t, v));
    if (!r->e->fitted[FLIP_UP] ||
        (r->e->fitted[FLIP_DOWN] && beyond(r, cluster, FLIP_UP, &start, 0) >= 0))
        d = FLIP_DOWN;
    for (int k = 0; k < STEPS && r->e->fitted[d];) {
        k = attempt_one(r, cluster, d, k);
        d = d == FLIP_UP ? FLIP_DOWN : FLIP_UP;
    }
}

static void add_outer(square *sum, const double *score, size_t n)
{
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            sum->at[i][j] += score[i] * score[j] / REHEARSALS;
}

/* Adds the score of the takes so far, one cluster at a time. */
static void add_scores(rehearsal *r, square *sum)
{
    likelihood one = r->l;
    for (size_t i = 0, end; i < r->l.n; i = end) {
        double score[MAXIMUM_PARAMETERS] = {0};
        for (end = i + 1; end < r->l.n && r->l.obs[end].cluster == r->l.obs[i].cluster;)
            end++;
        one.obs = r->l.obs + i;
        one.n = end - i;
        likelihood_value(&one, r->theta[r->l.obs[i].cluster], score);
        add_outer(sum, score, r->e->fit.f.n);
    }
}

square rehearse_information(const estimate *e, double at_db, const plan_take *t)
{
    rehearsal r = {.e = e, .take = t, .at_db = at_db, .l = e->likelihood};
    square sum = {0};
    r.l.n = 0;
    r.l.obs = NULL;
    r.l.points = NULL;
    r.l.grid = NULL;
    r.theta = xmalloc(REHEARSALS, sizeof *r.theta);
    r.random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r.random, SEED);
    for (size_t i = 0; i < REHEARSALS; i++)
        rehearse(&r, i);
    if (r.l.offset || r.l.scatter)
        likelihood_grid_new(&r.l, 1.0);
    add_scores(&r, &sum);
    likelihood_grid_free(r.l.grid);
    gsl_rng_free(r.random);
    free(r.theta);
    free(r.l.obs);
    free(r.l.points);
    return sum;
}
