/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/plan.h"

#include "base/array.h"
#include "fit/rehearse.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_linalg.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>

enum { PLACES = 3, LEVELS = 5, SWELLS = 24, CANDIDATES = LEVELS + SWELLS, P = MAXIMUM_PARAMETERS };
/* A slide begins and ends so far beyond the boundary, st: four or more spreads in most voices. */
static const double MARGIN_ST = 4, ERRORS = 2;

static double percentile(double *values, size_t n, double part)
{
    return gsl_stats_quantile_from_sorted_data(values, 1, n, part);
}

bool plan_reach_of(const path *paths, size_t n, plan_reach *out)
{
    size_t all = 0, m = 0;
    for (size_t k = 0; k < n; k++)
        all += paths[k].n;
    double *level = xmalloc(all, sizeof *level), *pitch = xmalloc(all, sizeof *pitch);
    for (size_t k = 0; k < n; k++)
        for (size_t i = 0; i < paths[k].n; i++)
            if (isfinite(paths[k].pitch_st[i]) && isfinite(paths[k].level_db[i])) {
                level[m] = paths[k].level_db[i];
                pitch[m++] = paths[k].pitch_st[i];
            }
    gsl_sort(level, 1, m);
    gsl_sort(pitch, 1, m);
    if (m)
        *out = (plan_reach){percentile(pitch, m, 0.01), percentile(pitch, m, 0.99),
                            percentile(level, m, 0.1), percentile(level, m, 0.5),
                            percentile(level, m, 0.9)};
    free(level);
    free(pitch);
    return m > 0;
}

typedef struct candidate {
    plan_take take;
    square information[WORLDS];
} candidate;

typedef struct planning {
    const estimate *e;
    const plan_reach *r;
    double at_db;
    world worlds[WORLDS];
    double contrast[PLACES][P], width[PLACES]; /* of the boundary going up; now */
    size_t n;
    candidate *candidates; /* [CANDIDATES] */
} planning;

static double pitch_at(const planning *p, flip_direction d, double level_db)
{
    return estimate_pitch(p->e, p->e->fitted[d] ? d : FLIP_UP, level_db - p->at_db);
}

static double within(const plan_reach *r, double st)
{
    return fmin(fmax(st, r->lo_st), r->hi_st);
}

static void add(planning *p, plan_take t)
{
    if (p->n == CANDIDATES || t.from_st > p->r->hi_st || t.from_st < p->r->lo_st)
        return;
    candidate *c = &p->candidates[p->n++];
    c->take = t;
    rehearse_information(p->e, p->at_db, &t, p->worlds, c->information);
}

/* From below to above both boundaries, wherever they may be at that level. */
static plan_take slide_at(const planning *p, double level_db)
{
    double lo = INFINITY, hi = -INFINITY;
    for (int d = 0; d < 2; d++) {
        double c[P], st = pitch_at(p, (flip_direction)d, level_db);
        estimate_contrast(p->e, p->e->fitted[d] ? (flip_direction)d : FLIP_UP, level_db - p->at_db,
                          c);
        double margin = MARGIN_ST + ERRORS * sqrt(fitted_variance(&p->e->fit, c));
        lo = fmin(lo, st - margin);
        hi = fmax(hi, st + margin);
    }
    return (plan_take){.kind = PLAN_SLIDE,
                       .from_st = within(p->r, lo),
                       .to_st = within(p->r, hi),
                       .from_db = level_db,
                       .to_db = level_db};
}

/* Slides at five levels; swells on every semitone near the boundary, from soft and from loud. */
static void propose(planning *p)
{
    const plan_reach *r = p->r;
    for (int k = 0; k < LEVELS; k++)
        add(p, slide_at(p, r->soft_db + (r->loud_db - r->soft_db) * k / (LEVELS - 1)));
    double lo = fmin(pitch_at(p, FLIP_DOWN, r->soft_db), pitch_at(p, FLIP_UP, r->soft_db));
    double hi = fmax(pitch_at(p, FLIP_UP, r->loud_db), pitch_at(p, FLIP_DOWN, r->loud_db));
    for (double st = ceil(fmin(lo, hi)); st <= fmax(lo, hi); st++) {
        add(p, (plan_take){PLAN_SWELL, st, st, r->soft_db, r->loud_db, 0, 0});
        add(p, (plan_take){PLAN_SWELL, st, st, r->loud_db, r->soft_db, 0, 0});
    }
}

static void invert(const square *a, size_t n, square *out)
{
    gsl_matrix *m = gsl_matrix_alloc(n, n);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            gsl_matrix_set(m, i, j, 0.5 * (a->at[i][j] + a->at[j][i]));
    gsl_linalg_cholesky_decomp1(m);
    gsl_linalg_cholesky_invert(m);
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            out->at[i][j] = gsl_matrix_get(m, i, j);
    gsl_matrix_free(m);
}

static double quadratic(const square *a, size_t n, const double *c)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            sum += c[i] * a->at[i][j] * c[j];
    return sum;
}

/* The mean width of the interval of the boundary going up, over soft, middle and loud and over the
 * worlds, when the precision is this in each. */
static double mean_width(const planning *p, const square precision[WORLDS])
{
    double sum = 0;
    size_t n = p->e->fit.f.n;
    for (int w = 0; w < WORLDS; w++) {
        square covariance = {0};
        invert(&precision[w], n, &covariance);
        for (int k = 0; k < PLACES; k++)
            sum += p->width[k] * sqrt(quadratic(&covariance, n, p->contrast[k]) /
                                      fitted_variance(&p->e->fit, p->contrast[k]));
    }
    return sum / (PLACES * WORLDS);
}

static void sum_of(const square a[WORLDS], const square b[WORLDS], square out[WORLDS])
{
    for (size_t w = 0; w < WORLDS; w++)
        for (size_t i = 0; i < P; i++)
            for (size_t j = 0; j < P; j++)
                out[w].at[i][j] = a[w].at[i][j] + b[w].at[i][j];
}

static void choose(const planning *p, size_t n, plan_take *out)
{
    square precision[WORLDS] = {0}, with[WORLDS];
    for (int w = 0; w < WORLDS; w++)
        invert(&p->e->fit.covariance, p->e->fit.f.n, &precision[w]);
    double now = mean_width(p, precision);
    for (size_t k = 0; k < n; k++) {
        double least = INFINITY;
        size_t best = 0;
        for (size_t i = 0; i < p->n; i++) {
            sum_of(precision, p->candidates[i].information, with);
            double then = mean_width(p, with);
            if (then < least) {
                least = then;
                best = i;
            }
        }
        out[k] = p->candidates[best].take;
        out[k].now_st = now;
        out[k].then_st = now = least;
        sum_of(precision, p->candidates[best].information, precision);
    }
}

static void unplanned(const plan_reach *r, size_t n, plan_take *out)
{
    const double levels[PLACES] = {r->loud_db, r->soft_db, r->middle_db};
    for (size_t k = 0; k < n; k++)
        out[k] = (plan_take){PLAN_SLIDE,         r->lo_st,    r->hi_st,   levels[k % PLACES],
                             levels[k % PLACES], (double)NAN, (double)NAN};
}

/* A curve asks for the middle, a line for soft and loud alone: of voices that may be either the
 * line is planned for until a curve is as good as sure. */
static const double SURE_OF_CURVE = 0.9;

static const estimate *planned_for(const estimate *e)
{
    bool line = e->likelihood.n_x > 1 && e->other && e->curved < SURE_OF_CURVE;
    return line ? e->other : e;
}

void plan_next(const boundary *b_or_null, const plan_reach *r, size_t n, plan_take *out)
{
    const double levels[PLACES] = {r->soft_db, r->middle_db, r->loud_db};
    if (!b_or_null || boundary_reason(b_or_null, BOUNDARY_UP_PITCH)) {
        unplanned(r, n, out);
        return;
    }
    planning p = {
        .e = planned_for(boundary_estimate(b_or_null)), .r = r, .at_db = boundary_at_db(b_or_null)};
    for (int k = 0; k < PLACES; k++) {
        figure f = boundary_pitch_at(b_or_null, FLIP_UP, levels[k]);
        estimate_contrast(p.e, FLIP_UP, levels[k] - p.at_db, p.contrast[k]);
        p.width[k] = f.hi95 - f.lo95;
    }
    p.candidates = xcalloc(CANDIDATES, sizeof *p.candidates);
    worlds_draw(p.e, p.worlds);
    propose(&p);
    if (p.n)
        choose(&p, n, out);
    else
        unplanned(r, n, out);
    free(p.candidates);
}
