/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/maximum.h"

#include "base/array.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#include <gsl/gsl_blas.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_multimin.h>

/* In units where the value falls by 1/2 at a step of 1: the value is then within 5e-9. */
static const double FLAT = 1e-4;
enum { STEPS = 200 };
/* Stands for -INFINITY, which GSL's line search does not survive. */
static const double IMPOSSIBLE = 1e10;

typedef struct subspace {
    const objective *f;
    const double *base;
    size_t n;
    const square *directions;
} subspace;

static void place(const subspace *s, const gsl_vector *y, double *theta)
{
    memcpy(theta, s->base, s->f->n * sizeof *theta);
    for (size_t j = 0; j < s->n; j++)
        for (size_t i = 0; i < s->f->n; i++)
            theta[i] += gsl_vector_get(y, j) * s->directions->at[j][i];
}

static void both(const gsl_vector *y, void *data, double *opt_value, gsl_vector *opt_gradient)
{
    const subspace *s = data;
    double theta[MAXIMUM_PARAMETERS], gradient[MAXIMUM_PARAMETERS] = {0};
    place(s, y, theta);
    double value = s->f->value(s->f->data, theta, opt_gradient ? gradient : NULL);
    if (opt_value)
        *opt_value = isfinite(value) ? -value : IMPOSSIBLE;
    if (!opt_gradient)
        return;
    for (size_t j = 0; j < s->n; j++) {
        double slope = 0;
        for (size_t i = 0; i < s->f->n; i++)
            slope += gradient[i] * s->directions->at[j][i];
        gsl_vector_set(opt_gradient, j, isfinite(slope) ? -slope : 0.0);
    }
}

static double value_only(const gsl_vector *y, void *data)
{
    double value;
    both(y, data, &value, NULL);
    return value;
}

static void gradient_only(const gsl_vector *y, void *data, gsl_vector *gradient)
{
    both(y, data, NULL, gradient);
}

static void value_gradient(const gsl_vector *y, void *data, double *value, gsl_vector *gradient)
{
    both(y, data, value, gradient);
}

static maximum_stop climb(gsl_multimin_fdfminimizer *m, int *steps)
{
    for (*steps = 0; *steps < STEPS; (*steps)++) {
        if (gsl_blas_dnrm2(m->gradient) < FLAT)
            return MAXIMUM_FOUND;
        if (gsl_multimin_fdfminimizer_iterate(m) != GSL_SUCCESS)
            return gsl_blas_dnrm2(m->gradient) < 100 * FLAT ? MAXIMUM_FOUND : MAXIMUM_NO_PROGRESS;
    }
    return MAXIMUM_TOO_MANY;
}

maximum maximum_find(const objective *f, const double *base, size_t n_directions,
                     const square *directions)
{
    assert(f->n <= MAXIMUM_PARAMETERS && n_directions <= f->n);
    maximum out = {.value = f->value(f->data, base, NULL)};
    memcpy(out.theta, base, f->n * sizeof *base);
    if (!isfinite(out.value))
        out.stop = MAXIMUM_IMPOSSIBLE;
    if (out.stop || !n_directions)
        return out;
    subspace s = {f, base, n_directions, directions};
    gsl_multimin_function_fdf g = {value_only, gradient_only, value_gradient, n_directions, &s};
    gsl_multimin_fdfminimizer *m =
        gsl_multimin_fdfminimizer_alloc(gsl_multimin_fdfminimizer_vector_bfgs2, n_directions);
    gsl_vector *y = gsl_vector_calloc(n_directions);
    gsl_multimin_fdfminimizer_set(m, &g, y, 1.0, 0.1);
    out.stop = climb(m, &out.steps);
    out.value = -m->f;
    place(&s, m->x, out.theta);
    gsl_vector_free(y);
    gsl_multimin_fdfminimizer_free(m);
    return out;
}

square maximum_curvature(const objective *f, const double *theta)
{
    square c = {0};
    double at[MAXIMUM_PARAMETERS], above[MAXIMUM_PARAMETERS], below[MAXIMUM_PARAMETERS];
    memcpy(at, theta, f->n * sizeof *at);
    for (size_t i = 0; i < f->n; i++) {
        double step = 1e-4 * fmax(0.1, fmin(1.0, fabs(theta[i])));
        at[i] = theta[i] + step;
        f->value(f->data, at, above);
        at[i] = theta[i] - step;
        f->value(f->data, at, below);
        at[i] = theta[i];
        for (size_t j = 0; j < f->n; j++)
            c.at[i][j] = (below[j] - above[j]) / (2 * step);
    }
    for (size_t i = 0; i < f->n; i++)
        for (size_t j = 0; j < i; j++)
            c.at[i][j] = c.at[j][i] = 0.5 * (c.at[i][j] + c.at[j][i]);
    return c;
}
