/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/scatter.h"

#include <assert.h>
#include <math.h>

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_multifit.h>

/* Below this many degrees of freedom a scatter is a guess: Student's 97.5 % point is 12.7 at 1. */
static const double LEAST_FREEDOM = 2;

typedef struct regression {
    size_t n, p;
    gsl_matrix *x, *covariance;
    gsl_vector *y, *error, *weight, *beta;
    gsl_multifit_linear_workspace *work;
} regression;

static bool usable(const scatter_point *p)
{
    return isfinite(p->y) && isfinite(p->error) && p->error > 0;
}

static regression regression_new(const scatter_point *points, size_t all, size_t n, size_t p)
{
    regression r = {n,
                    p,
                    gsl_matrix_alloc(n, p),
                    gsl_matrix_alloc(p, p),
                    gsl_vector_alloc(n),
                    gsl_vector_alloc(n),
                    gsl_vector_alloc(n),
                    gsl_vector_alloc(p),
                    gsl_multifit_linear_alloc(n, p)};
    for (size_t i = 0, row = 0; i < all; i++) {
        if (!usable(&points[i]))
            continue;
        for (size_t k = 0; k < p; k++)
            gsl_matrix_set(r.x, row, k, points[i].x[k]);
        gsl_vector_set(r.y, row, points[i].y);
        gsl_vector_set(r.error, row++, points[i].error);
    }
    return r;
}

static void regression_free(regression *r)
{
    gsl_matrix_free(r->x);
    gsl_matrix_free(r->covariance);
    gsl_vector_free(r->y);
    gsl_vector_free(r->error);
    gsl_vector_free(r->weight);
    gsl_vector_free(r->beta);
    gsl_multifit_linear_free(r->work);
}

/* Weighted sum of squares when sessions scatter by sqrt(variance). */
static double squares(regression *r, double variance)
{
    double sum;
    for (size_t i = 0; i < r->n; i++) {
        double error = gsl_vector_get(r->error, i);
        gsl_vector_set(r->weight, i, 1 / (error * error + variance));
    }
    gsl_multifit_wlinear(r->x, r->weight, r->y, r->beta, r->covariance, &sum, r->work);
    return sum;
}

/* The variance at which the sum of squares, which falls with it, is the degrees of freedom. */
static double between(regression *r, double freedom)
{
    double lo = 0, hi = 1;
    if (squares(r, 0) <= freedom)
        return 0;
    while (squares(r, hi) > freedom)
        hi *= 4;
    for (int i = 0; i < 100 && hi - lo > 1e-12 * hi; i++) {
        double middle = 0.5 * (lo + hi);
        if (squares(r, middle) > freedom)
            lo = middle;
        else
            hi = middle;
    }
    return 0.5 * (lo + hi);
}

static bool told_apart(const regression *r)
{
    double column[SCATTER_X][SCATTER_X] = {{0}};
    for (size_t i = 0; i < r->n; i++)
        for (size_t j = 0; j < r->p; j++)
            for (size_t k = 0; k < r->p; k++)
                column[j][k] += gsl_matrix_get(r->x, i, j) * gsl_matrix_get(r->x, i, k);
    if (r->p == 1)
        return column[0][0] > 0;
    double all = column[0][0] * column[1][1];
    return all > 0 && 1 - column[0][1] * column[0][1] / all > 1e-12;
}

static void settle(regression *r, double assumed, scatter_fit *f)
{
    double freedom = (double)(r->n - r->p), scale = 1;
    f->assumed = freedom < LEAST_FREEDOM;
    f->scatter = f->assumed ? assumed : sqrt(between(r, freedom));
    double sum = squares(r, f->scatter * f->scatter);
    f->freedom = f->assumed ? INFINITY : freedom;
    if (!f->assumed)
        scale = sum / freedom;
    for (size_t k = 0; k < r->p; k++) {
        f->beta[k] = gsl_vector_get(r->beta, k);
        f->error[k] = sqrt(scale * gsl_matrix_get(r->covariance, k, k));
    }
}

bool scatter_regress(const scatter_point *points, size_t n, size_t p, double assumed,
                     scatter_fit *out)
{
    assert(p >= 1 && p <= SCATTER_X);
    size_t usables = 0;
    for (size_t i = 0; i < n; i++)
        usables += usable(&points[i]);
    *out = (scatter_fit){.n = usables, .p = p};
    if (usables < p)
        return false;
    regression r = regression_new(points, n, usables, p);
    bool told = told_apart(&r);
    if (told)
        settle(&r, assumed, out);
    regression_free(&r);
    return told;
}

static double student(const scatter_fit *f, double probability)
{
    return f->assumed ? gsl_cdf_ugaussian_Pinv(probability)
                      : gsl_cdf_tdist_Pinv(probability, f->freedom);
}

figure scatter_figure(const scatter_fit *f, size_t coefficient)
{
    double half = student(f, 0.975) * f->error[coefficient], at = f->beta[coefficient];
    return (figure){at, at - half, at + half};
}

double scatter_detectable(const scatter_fit *f, size_t coefficient)
{
    return (student(f, 0.975) + student(f, 0.8)) * f->error[coefficient];
}
