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
static const double MARGIN_ST = 4;

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
    square information;
} candidate;

typedef struct planning {
    const estimate *e;
    const plan_reach *r;
    double at_db;
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
    p->candidates[p->n++] = (candidate){t, rehearse_information(p->e, p->at_db, &t)};
}

/* Slides at five levels; swells on every semitone near the boundary, from soft and from loud. */
static void propose(planning *p)
{
    const plan_reach *r = p->r;
    for (int k = 0; k < LEVELS; k++) {
        double level = r->soft_db + (r->loud_db - r->soft_db) * k / (LEVELS - 1);
        double up = pitch_at(p, FLIP_UP, level), down = pitch_at(p, FLIP_DOWN, level);
        add(p, (plan_take){.kind = PLAN_SLIDE,
                           .from_st = within(r, fmin(up, down) - MARGIN_ST),
                           .to_st = within(r, fmax(up, down) + MARGIN_ST),
                           .from_db = level,
                           .to_db = level});
    }
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

static double variance(const square *covariance, size_t n, const double *c)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            sum += c[i] * covariance->at[i][j] * c[j];
    return sum;
}

/* The mean variance of the boundary going up when the precision is this; *width: the mean width of
 * its interval then. */
static double mean_variance(const planning *p, const square *precision, double *width)
{
    square covariance = {0};
    double sum = 0;
    size_t n = p->e->fit.f.n;
    invert(precision, n, &covariance);
    *width = 0;
    for (int k = 0; k < PLACES; k++) {
        double then = variance(&covariance, n, p->contrast[k]);
        double now = variance(&p->e->fit.covariance, n, p->contrast[k]);
        sum += then / PLACES;
        *width += p->width[k] * sqrt(then / now) / PLACES;
    }
    return sum;
}

static square sum_of(const square *a, const square *b, size_t n)
{
    square sum = {0};
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            sum.at[i][j] = a->at[i][j] + b->at[i][j];
    return sum;
}

static void choose(const planning *p, size_t n, plan_take *out)
{
    square precision = {0};
    size_t size = p->e->fit.f.n;
    invert(&p->e->fit.covariance, size, &precision);
    double now, then = 0;
    mean_variance(p, &precision, &now);
    for (size_t k = 0; k < n; k++) {
        double least = INFINITY;
        size_t best = 0;
        for (size_t i = 0; i < p->n; i++) {
            square with = sum_of(&precision, &p->candidates[i].information, size);
            double width, left = mean_variance(p, &with, &width);
            if (left < least) {
                least = left;
                then = width;
                best = i;
            }
        }
        out[k] = p->candidates[best].take;
        out[k].now_st = now;
        out[k].then_st = now = then;
        precision = sum_of(&precision, &p->candidates[best].information, size);
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
    propose(&p);
    if (p.n)
        choose(&p, n, out);
    else
        unplanned(r, n, out);
    free(p.candidates);
}
