/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/rehearse.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

/* Takes sung in each world; over all, the mean has a standard error of a tenth or less. */
enum { REHEARSALS = 8, STEPS = 160, SEED = 1 };
/* A slide or swell there and back; only the length of the share of wrong ends hangs on it. */
static const double SECONDS = 4.0;

typedef struct rehearsal {
    const estimate *e;
    const plan_take *take;
    const world *world; /* that of the present take */
    double at_db, shift;
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

/* How far beyond the boundary of a direction, as its attempts see it, in this take. */
static double beyond(const rehearsal *r, flip_direction d, const threshold_point *p)
{
    double shift = d == FLIP_UP ? -r->shift : r->shift;
    return world_beyond(r->world, r->e, d, p) + shift;
}

/* A threshold given that it is not yet passed. */
static double draw_threshold(const rehearsal *r, flip_direction d, double z)
{
    const likelihood *l = &r->e->likelihood;
    double s = exp(r->world->theta[likelihood_log_s(l, r->e->group[d])]), eps;
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
    double limit = draw_threshold(r, d, beyond(r, d, &start));
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
        o.ended = beyond(r, d, &next) > limit;
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

/* A take starts in M1 below the boundary going up, between both in either register. */
static flip_direction register_at_start(const rehearsal *r)
{
    threshold_point start = place(r, 0);
    const bool *known = r->e->fitted;
    if (known[FLIP_UP] && world_beyond(r->world, r->e, FLIP_UP, &start) >= 0)
        return FLIP_DOWN;
    if (known[FLIP_DOWN] && world_beyond(r->world, r->e, FLIP_DOWN, &start) >= 0)
        return FLIP_UP;
    return gsl_rng_uniform(r->random) < r->world->starts_in_m1 ? FLIP_UP : FLIP_DOWN;
}

static void rehearse(rehearsal *r, size_t cluster)
{
    const likelihood *l = &r->e->likelihood;
    const double *theta = r->world->theta;
    double t = l->offset ? fabs(theta[likelihood_offset(l)]) : 0;
    double v = l->scatter ? exp(theta[likelihood_scatter(l)]) : 0;
    flip_direction d = register_at_start(r);
    r->shift = gsl_ran_gaussian(r->random, hypot(t, v));
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

/* The score of the takes, one cluster at a time, in the world of each. */
static void add_scores(const rehearsal *r, const world *worlds, square sums[WORLDS])
{
    likelihood one = r->l;
    for (size_t i = 0, end; i < r->l.n; i = end) {
        double score[MAXIMUM_PARAMETERS] = {0};
        size_t cluster = r->l.obs[i].cluster, in = cluster / REHEARSALS;
        for (end = i + 1; end < r->l.n && r->l.obs[end].cluster == cluster;)
            end++;
        one.obs = r->l.obs + i;
        one.n = end - i;
        likelihood_value(&one, worlds[in].theta, score);
        add_outer(&sums[in], score, r->e->fit.f.n);
    }
}

void rehearse_information(const estimate *e, double at_db, const plan_take *t,
                          const world worlds[WORLDS], square out[WORLDS])
{
    rehearsal r = {.e = e, .take = t, .at_db = at_db, .l = e->likelihood};
    r.l.n = 0;
    r.l.obs = NULL;
    r.l.points = NULL;
    r.l.grid = NULL;
    r.random = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r.random, SEED);
    memset(out, 0, WORLDS * sizeof *out);
    for (size_t i = 0; i < WORLDS * REHEARSALS; i++) {
        r.world = &worlds[i / REHEARSALS];
        rehearse(&r, i);
    }
    if (r.l.offset || r.l.scatter)
        likelihood_grid_new(&r.l, 1.0);
    add_scores(&r, worlds, out);
    likelihood_grid_free(r.l.grid);
    gsl_rng_free(r.random);
    free(r.l.obs);
    free(r.l.points);
}
