/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/maximum.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <string.h>

enum { P = MAXIMUM_PARAMETERS, STEPS = 200, HALVINGS = 40 };
/* The first step, before anything is known of the curvature, in units of the directions. */
static const double FIRST_STEP = 1.0;
/* Wolfe's conditions in their weak form: enough rise, and a slope that has come down. */
static const double ENOUGH = 1e-4, FLATTER = 0.9;

typedef struct place {
    double y[P], value, gradient[P]; /* by the directions */
} place;

typedef struct search {
    const objective *f;
    const double *base;
    size_t n;
    const square *directions;
    double metric[P][P]; /* BFGS's inverse curvature */
    place now;
    int steps;
} search;

static void to_theta(const search *s, const double *y, double *theta)
{
    memcpy(theta, s->base, s->f->n * sizeof *theta);
    for (size_t j = 0; j < s->n; j++)
        for (size_t i = 0; i < s->f->n; i++)
            theta[i] += y[j] * s->directions->at[j][i];
}

/* Fills in value and gradient; a value that is not finite becomes -INFINITY. */
static void look(const search *s, place *p)
{
    double theta[P], gradient[P];
    to_theta(s, p->y, theta);
    p->value = s->f->value(s->f->data, theta, gradient);
    if (!isfinite(p->value))
        p->value = -INFINITY;
    for (size_t j = 0; j < s->n; j++) {
        p->gradient[j] = 0;
        for (size_t i = 0; i < s->f->n; i++)
            p->gradient[j] += gradient[i] * s->directions->at[j][i];
    }
}

static double dot(size_t n, const double *a, const double *b)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

static void reset_metric(search *s)
{
    double length = sqrt(dot(s->n, s->now.gradient, s->now.gradient));
    memset(s->metric, 0, sizeof s->metric);
    for (size_t j = 0; j < s->n; j++)
        s->metric[j][j] = fmin(1.0, FIRST_STEP / length);
}

/* Along `way`, by bisection until Wolfe's weak conditions hold (Lewis & Overton 2013, algorithm
 * 2.6) or the step is so short that what it promises does not count; false when no place along it
 * is higher. */
static bool line_search(const search *s, const double *way, double slope, double flat, place *out)
{
    double lo = 0, hi = INFINITY, t = 1;
    bool higher = false;
    for (int i = 0; i < HALVINGS; i++) {
        place p;
        for (size_t j = 0; j < s->n; j++)
            p.y[j] = s->now.y[j] + t * way[j];
        look(s, &p);
        bool enough = p.value >= s->now.value + ENOUGH * t * slope;
        if (enough && p.value > s->now.value) {
            *out = p;
            higher = true;
        }
        if (!enough)
            hi = t;
        else if (dot(s->n, p.gradient, way) > FLATTER * slope)
            lo = t;
        else
            return higher;
        t = isfinite(hi) ? 0.5 * (lo + hi) : 2 * lo;
        if (t * slope < flat * flat || (higher && hi - lo < 1e-3 * hi))
            return higher;
    }
    return higher;
}

/* metric += [(1 + y'My/s'y) ss' - (My s' + s y'M)] / s'y, y the fall of the gradient over s. */
static void update_metric(search *s, const place *next)
{
    double step[P], fall[P], carried[P];
    for (size_t j = 0; j < s->n; j++) {
        step[j] = next->y[j] - s->now.y[j];
        fall[j] = s->now.gradient[j] - next->gradient[j];
    }
    double along = dot(s->n, step, fall);
    if (!(along > 0))
        return;
    for (size_t j = 0; j < s->n; j++)
        carried[j] = dot(s->n, s->metric[j], fall);
    double scale = 1 + dot(s->n, fall, carried) / along;
    for (size_t i = 0; i < s->n; i++)
        for (size_t j = 0; j < s->n; j++)
            s->metric[i][j] +=
                (scale * step[i] * step[j] - carried[i] * step[j] - step[i] * carried[j]) / along;
}

static maximum_stop climb(search *s, double flat)
{
    bool fresh = true;
    reset_metric(s);
    for (s->steps = 0; s->steps < STEPS; s->steps++) {
        double way[P];
        place next;
        for (size_t j = 0; j < s->n; j++)
            way[j] = dot(s->n, s->metric[j], s->now.gradient);
        double slope = dot(s->n, way, s->now.gradient);
        /* Twice the rise that the metric promises. */
        if (slope < flat * flat)
            return MAXIMUM_FOUND;
        if (line_search(s, way, slope, flat, &next)) {
            update_metric(s, &next);
            s->now = next;
            fresh = false;
        } else if (fresh) {
            return MAXIMUM_AT_KINK;
        } else {
            reset_metric(s);
            fresh = true;
        }
    }
    return MAXIMUM_TOO_MANY;
}

maximum maximum_find(const objective *f, const double *base, size_t n_directions,
                     const square *directions, double flat)
{
    assert(f->n <= P && n_directions <= f->n);
    search s = {.f = f, .base = base, .n = n_directions, .directions = directions};
    maximum out = {.stop = MAXIMUM_IMPOSSIBLE};
    look(&s, &s.now);
    if (isfinite(s.now.value))
        out.stop = climb(&s, flat);
    out.value = s.now.value;
    out.steps = s.steps;
    to_theta(&s, s.now.y, out.theta);
    return out;
}

square maximum_curvature(const objective *f, const double *theta, size_t n)
{
    square c = {0};
    double at[P], above[P], below[P];
    memcpy(at, theta, f->n * sizeof *at);
    for (size_t i = 0; i < n; i++) {
        double step = 0.1 * f->scale[i];
        at[i] = theta[i] + step;
        f->value(f->data, at, above);
        at[i] = theta[i] - step;
        f->value(f->data, at, below);
        at[i] = theta[i];
        for (size_t j = 0; j < n; j++)
            c.at[i][j] = (below[j] - above[j]) / (2 * step);
    }
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < i; j++)
            c.at[i][j] = c.at[j][i] = 0.5 * (c.at[i][j] + c.at[j][i]);
    return c;
}
