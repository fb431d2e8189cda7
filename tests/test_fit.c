/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The likelihood of censored, truncated thresholds and its maximum. Oracles: worked examples of
 * censored regression from the literature, the formula written out on tiny cases, numerical
 * integration, finite differences, closed forms of the normal distribution. */
#include "base/array.h"
#include "fit/interval.h"
#include "fit/likelihood.h"
#include "fit/maximum.h"
#include "fit/normal.h"
#include "fit/normal_fours.h"
#include "fit/prior.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_fit.h>
#include <gsl/gsl_integration.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_sf_erf.h>

/* Prints and checks a number against its reference, in its own unit. */
static void close_to(const char *what, double want, double got, double atol)
{
    if (!(fabs(got - want) <= atol))
        fail_msg("%s: %.10g, wanted %.10g within %g", what, got, want, atol);
}

/* Plain censored regression: observations of one point, one group. */
typedef struct table {
    likelihood l;
    threshold_obs obs[96];
    threshold_point points[96];
} table;

static void table_begin(table *t, unsigned n_x)
{
    memset(t, 0, sizeof *t);
    t->l =
        (likelihood){.obs = t->obs, .points = t->points, .groups = 1, .n_x = n_x, .shared = true};
}

/* lo = hi: exact; lo = -INFINITY or hi = INFINITY: censored. */
static void table_row(table *t, double lo, double hi, double x0, double x1)
{
    size_t i = t->l.n++;
    bool left = isinf(lo), right = isinf(hi);
    t->points[i] = (threshold_point){left ? hi : lo, {x0, x1}};
    t->obs[i] = (threshold_obs){.cluster = i,
                                .sign = left ? -1 : 1,
                                .ended = !left && !right,
                                .weight = 1,
                                .log_scale = hi > lo && !left && !right ? log(hi - lo) : 0,
                                .first = i,
                                .n_points = 1,
                                .end = {hi, {x0, x1}}};
}

static double plain_value(const void *data, const double *theta, double *opt_gradient)
{
    return likelihood_value(data, theta, opt_gradient);
}

static maximum table_fit(const table *t, const double *start, const double *scale)
{
    objective f = {likelihood_parameters(&t->l), plain_value, &t->l, {0}};
    square directions = {0};
    for (size_t i = 0; i < f.n; i++)
        directions.at[i][i] = scale[i];
    maximum m = maximum_find(&f, start, f.n, &directions, 1e-7);
    assert_int_equal(m.stop, MAXIMUM_FOUND);
    return m;
}

/* Motorettes at four temperatures: Nelson & Hahn 1972; published fit -6.019, 4.311, 0.2592
 * (Schmee & Hahn 1979, Technometrics 21:417, from memory); more digits by R survival's survreg. */
static void test_motorettes(void **state)
{
    (void)state;
    static const double hours[4][10] = {
        {-8064, -8064, -8064, -8064, -8064, -8064, -8064, -8064, -8064, -8064},
        {1764, 2772, 3444, 3542, 3780, 4860, 5196, -5448, -5448, -5448},
        {408, 408, 1344, 1344, 1440, -1680, -1680, -1680, -1680, -1680},
        {408, 408, 504, 504, 504, -528, -528, -528, -528, -528}};
    static const double celsius[4] = {150, 170, 190, 220};
    table t;
    table_begin(&t, 1);
    for (int i = 0; i < 4; i++)
        for (int j = 0; j < 10; j++) {
            double y = log10(fabs(hours[i][j]));
            table_row(&t, y, hours[i][j] < 0 ? INFINITY : y, 1000 / (celsius[i] + 273.2) - 2.2, 0);
        }
    maximum m = table_fit(&t, (double[]){3, 4, -1}, (double[]){0.1, 0.4, 0.2});
    close_to("intercept", -6.01925, m.theta[0] - 2.2 * m.theta[1], 1e-5);
    close_to("slope", 4.31125, m.theta[1], 1e-5);
    close_to("log sigma", -1.35022, m.theta[2], 1e-5);
    printf("motorettes: %.5f %.5f %.5f\n", m.theta[0] - 2.2 * m.theta[1], m.theta[1],
           exp(m.theta[2]));
}

/* Durable goods, left-censored at 0: Tobin 1958, Econometrica 26:24; answers as in the documented
 * example of R's survival package (tobin). Two covariates. */
static void test_tobin(void **state)
{
    (void)state;
    static const double rows[20][3] = {
        {0, 57.7, 236},    {.7, 50.9, 283}, {0, 48.5, 207},   {0, 41.7, 220},   {0, 47.7, 238},
        {0, 59.8, 216},    {0, 44.3, 284},  {3.7, 45.1, 221}, {0, 51.7, 275},   {3, 50, 269},
        {10.4, 46.8, 207}, {0, 58, 249},    {0, 58.9, 246},   {0, 40, 277},     {1.5, 34.1, 231},
        {0, 39.9, 219},    {0, 33.4, 240},  {3.5, 48.1, 266}, {6.1, 46.6, 214}, {0, 53.1, 251}};
    table t;
    table_begin(&t, 2);
    for (int i = 0; i < 20; i++)
        table_row(&t, rows[i][0] > 0 ? rows[i][0] : -INFINITY, rows[i][0], rows[i][1] - 48,
                  rows[i][2] - 245);
    maximum m = table_fit(&t, (double[]){0, 0, 0, 1.5}, (double[]){1.5, 0.2, 0.05, 0.3});
    close_to("intercept", 15.144866, m.theta[0] - 48 * m.theta[1] - 245 * m.theta[2], 2e-5);
    close_to("age", -.129059, m.theta[1], 1e-6);
    close_to("quant", -.045542, m.theta[2], 1e-6);
    close_to("log scale", 1.717851, m.theta[3], 1e-6);
    close_to("log-likelihood", -28.9, m.value, 0.05);
}

/* Ten rows of this project's own shape, exact, interval-, left- and right-censored; answers by R
 * 4.2.2, survival's survreg, Gaussian. */
static void test_mixed_censoring(void **state)
{
    (void)state;
    static const double lo[] = {58.0, 59.5, 60.2, -INFINITY, 61.7, 62.0, 63.4, 64.1, 65.0, 66.2};
    static const double hi[] = {58.0, 59.5, 61.0, 61.5, 61.7, INFINITY, 64.2, 64.1, INFINITY, 66.2};
    table t;
    table_begin(&t, 1);
    for (int i = 0; i < 10; i++)
        table_row(&t, lo[i], hi[i], 60 + 2 * i - 69, 0);
    maximum m = table_fit(&t, (double[]){62, 0, 0}, (double[]){0.1, 0.02, 0.3});
    close_to("intercept", 32.466389322, m.theta[0] - 69 * m.theta[1], 1e-5);
    close_to("slope", 0.431609539, m.theta[1], 1e-7);
    close_to("log scale", -1.397810253, m.theta[2], 1e-7);
    close_to("log-likelihood", -1.82989225, m.value, 1e-8);
    /* Standard errors from the same source: the curvature is taken over a tenth of the scale. */
    fitted f = {.f = {3, plain_value, &t.l, {1e-3, 1e-3, 1e-3}}, .n_means = 2, .top = m};
    fitted_settle(&f);
    assert_true(f.settled);
    double intercept[MAXIMUM_PARAMETERS] = {1, -69}, slope[MAXIMUM_PARAMETERS] = {0, 1};
    close_to("intercept's SE", 1.0254425267, sqrt(fitted_variance(&f, intercept)), 1e-5);
    close_to("slope's SE", .0149076781, sqrt(fitted_variance(&f, slope)), 1e-7);
    close_to("log scale's SE", .2976123720, sqrt(f.covariance.at[2][2]), 1e-6);
}

/* Weeks to a change of the breast after radiotherapy, alone or with chemotherapy: Finkelstein &
 * Wolfe 1985, Biometrics 41:933, 95 rows as in KMsurv; 0: left-, -1: right-censored. On log
 * time; answers by R 4.2.2, survival's survreg, lognormal. */
static const double cosmesis[2][49][2] = {
    {{0, 5},   {0, 7},   {0, 8},   {4, 11},  {5, 11},  {5, 12},  {6, 10},  {7, 14},
     {7, 16},  {11, 15}, {11, 18}, {17, 25}, {17, 25}, {18, 26}, {19, 35}, {25, 37},
     {26, 40}, {27, 34}, {36, 44}, {36, 48}, {37, 44}, {15, -1}, {17, -1}, {18, -1},
     {22, -1}, {24, -1}, {24, -1}, {32, -1}, {33, -1}, {34, -1}, {36, -1}, {36, -1},
     {37, -1}, {37, -1}, {37, -1}, {38, -1}, {40, -1}, {45, -1}, {46, -1}, {46, -1},
     {46, -1}, {46, -1}, {46, -1}, {46, -1}, {46, -1}, {46, -1}},
    {{0, 5},   {0, 22},  {4, 8},   {4, 9},   {5, 8},   {8, 12},  {8, 21},  {10, 17}, {10, 35},
     {11, 13}, {11, 17}, {11, 20}, {12, 20}, {13, 39}, {14, 17}, {14, 19}, {15, 22}, {16, 20},
     {16, 24}, {16, 24}, {16, 60}, {17, 23}, {17, 26}, {17, 27}, {18, 24}, {18, 25}, {19, 32},
     {22, 32}, {24, 30}, {24, 31}, {30, 34}, {30, 36}, {33, 40}, {34, 34}, {35, 39}, {44, 48},
     {48, 48}, {11, -1}, {11, -1}, {13, -1}, {13, -1}, {13, -1}, {21, -1}, {23, -1}, {31, -1},
     {32, -1}, {34, -1}, {34, -1}, {35, -1}},
};
static void test_interval_censoring(void **state)
{
    (void)state;
    table t;
    table_begin(&t, 1);
    double exact = 0;
    for (int treat = 0; treat < 2; treat++)
        for (int i = 0; i < 49; i++) {
            const double *row = cosmesis[treat][i];
            if (row[1] == 0)
                continue;
            exact += row[0] == row[1] ? log(row[0]) : 0;
            table_row(&t, log(row[0]), row[1] < 0 ? INFINITY : log(row[1]), treat, 0);
        }
    assert_int_equal(t.l.n, 95);
    maximum m = table_fit(&t, (double[]){3.5, 0, 0}, (double[]){0.15, 0.2, 0.1});
    close_to("intercept", 3.536670857, m.theta[0], 1e-6);
    close_to("chemotherapy", -.415767539, m.theta[1], 1e-6);
    close_to("log scale", -.151810947, m.theta[2], 1e-6);
    close_to("log-likelihood", -154.280969, m.value - exact, 1e-5);
}

/* In the normal model without censoring the interval is Student's, whatever the prior is not: the
 * profile with the small-sample cut against the textbook formula. */
static void test_student_interval(void **state)
{
    (void)state;
    static const double x[] = {-6, -4, -1, 0, 2, 3, 6}, y[] = {58, 60, 60.5, 62, 61, 63, 64.5};
    enum { N = sizeof x / sizeof *x };
    double c0, c1, v00, v01, v11, rss, lo, hi, low_s, high_s;
    table t;
    table_begin(&t, 1);
    for (int i = 0; i < N; i++)
        table_row(&t, y[i], y[i], x[i], 0);
    gsl_fit_linear(x, 1, y, 1, N, &c0, &c1, &v00, &v01, &v11, &rss);
    /* p log s makes the spread's estimate RSS / (n - p); the prior's other terms are left wide. */
    prior p = {.pitch_sd_st = 1e6, .slope_sd = 1e6, .spread_st = {1, 1}, .spread_sd = 1e6};
    prior_count(&p, &t.l);
    penalised both = {&t.l, &p};
    objective f = {3, penalised_value, &both, {0.01, 0.001, 0.01}};
    square directions = {{{0.3}, {0, 0.05}, {0, 0, 0.3}}};
    fitted fit = {.f = f, .n_means = 2};
    fit.top = maximum_find(&f, (double[]){61, 0.3, 0}, 3, &directions, 1e-6);
    fitted_settle(&fit);
    close_to("spread", sqrt(rss / (N - 2)), exp(fit.top.theta[2]), 1e-6);
    double slope[MAXIMUM_PARAMETERS] = {0, 1};
    double nu = interval_freedom(&fit, slope), half = gsl_cdf_tdist_Pinv(0.975, N - 2) * sqrt(v11);
    close_to("degrees of freedom", N - 2, nu, 0.02);
    assert_true(interval_profile(&fit, slope, interval_cuts(nu), &lo, &hi));
    close_to("lower end", c1 - half, lo, 0.006 * half);
    close_to("upper end", c1 + half, hi, 0.006 * half);
    /* And that of the spread chi-squared's, to a fiftieth: RSS / s^2 has N - 2 degrees. */
    double log_s[MAXIMUM_PARAMETERS] = {0, 0, 1};
    assert_true(interval_profile(&fit, log_s, interval_cuts_spread(&fit, 2), &low_s, &high_s));
    close_to("lowest spread", 0.5 * log(rss / gsl_cdf_chisq_Pinv(0.975, N - 2)), low_s, 0.02);
    close_to("highest spread", 0.5 * log(rss / gsl_cdf_chisq_Pinv(0.025, N - 2)), high_s, 0.02);
    close_to("its median", 0.5 * log(rss / gsl_cdf_chisq_Pinv(0.5, N - 2)),
             interval_median(fit.top.theta[2], low_s, high_s, interval_cuts_spread(&fit, 2)), 0.01);
    printf("log spread %.4f to %.4f\n", low_s, high_s);
    printf("slope %.4f, Student's half-width %.4f, the profile's %.4f %.4f\n", c1, half, c1 - lo,
           hi - c1);
}

/* Two paths in two groups, one flipped and one not, both truncated; against the formula. */
static void test_tiny_case(void **state)
{
    (void)state;
    threshold_point points[] = {{50, {-5}}, {55, {3}}, {57, {0}}, {66, {1}}, {63, {-2}}};
    threshold_obs obs[] = {{.group = 0,
                            .cluster = 0,
                            .sign = 1,
                            .truncated = true,
                            .ended = true,
                            .rated = true,
                            .weight = 1,
                            .first = 0,
                            .n_points = 3,
                            .start = {50, {-5}},
                            .end = {57.3, {0.1}},
                            .rate = {6, {2}}},
                           {.group = 1,
                            .cluster = 1,
                            .sign = -1,
                            .truncated = true,
                            .first = 3,
                            .n_points = 2,
                            .start = {66, {1}}}};
    likelihood l = {
        .n = 2, .obs = obs, .points = points, .groups = 2, .n_x = 1, .shared = true, .span_s = 1};
    double theta[] = {58, 62, 0.4, log(0.8), log(1.3)};
    /* Running maximum of pitch - 0.4 level: 52, 53.8, 57; crossing 57.26; rate 6 - 0.8 = 5.2. */
    double a = (57 - 58) / 0.8, c = (57.26 - 58) / 0.8;
    double flipped = (gsl_cdf_ugaussian_P(c) - gsl_cdf_ugaussian_P(a)) / 0.26 * 5.2 /
                     gsl_cdf_ugaussian_Q((52.0 - 58) / 0.8);
    /* Down: z = 62 - (pitch - 0.4 level): -3.6 at the start, -1.8 at the most. */
    double lasted = gsl_cdf_ugaussian_Q(-1.8 / 1.3) / gsl_cdf_ugaussian_Q(-3.6 / 1.3);
    close_to("exact", log(flipped) + log(lasted), likelihood_value(&l, theta, NULL), 1e-12);
    l.share = 0.1;
    double f = (0.9 * flipped * gsl_cdf_ugaussian_Q(-7.5) + 0.05) /
               (0.9 * gsl_cdf_ugaussian_Q(-7.5) + 0.1);
    double q = (0.9 * gsl_cdf_ugaussian_Q(-1.8 / 1.3) + 0.05) /
               (0.9 * gsl_cdf_ugaussian_Q(-3.6 / 1.3) + 0.1);
    close_to("contaminated", log(f) + log(q), likelihood_value(&l, theta, NULL), 1e-9);
    l.share = 0;
    obs[0].weight = 0.7;
    double mixed = 0.7 * flipped + 0.3 * gsl_cdf_ugaussian_Q(a);
    close_to("doubtful", log(mixed) + log(lasted), likelihood_value(&l, theta, NULL), 1e-12);
    obs[0].weight = 1;
    obs[0].end = (threshold_point){56.5, {0}};
    assert_true(likelihood_value(&l, theta, NULL) == -INFINITY);
    l.slack = 0.25;
    double error = exp(-0.5 * pow(0.5 / 0.25, 2)), density = gsl_ran_ugaussian_pdf(a) / 0.8;
    close_to("below the maximum", log(density * 5.2 * error) + log(lasted),
             likelihood_value(&l, theta, NULL), 1e-12);
}

/* A likelihood of every kind of observation, in three clusters. */
static likelihood zoo(gsl_rng *r, threshold_obs *obs, threshold_point *points, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        int sign = i % 2 ? -1 : 1;
        double base = 58 + 4.0 * (double)(i % 2) - 3 * sign;
        for (size_t j = 0; j < 3; j++)
            points[3 * i + j] =
                (threshold_point){base + sign * gsl_ran_flat(r, -1, 4),
                                  {gsl_ran_flat(r, -10, 10), gsl_ran_flat(r, 0, 9)}};
        obs[i] =
            (threshold_obs){.group = i % 2,
                            .cluster = i / 5,
                            .sign = sign,
                            .truncated = i % 3 != 0,
                            .ended = i % 4 != 3,
                            .rated = i % 5 != 2,
                            .weight = i % 7 == 1 ? 0.6 : 1,
                            .first = 3 * i,
                            .n_points = 3,
                            .start = points[3 * i],
                            .end = points[3 * i + 1],
                            .rate = {sign * gsl_ran_flat(r, 1, 6), {gsl_ran_flat(r, -5, 5), 1}}};
        obs[i].end.y += sign * gsl_ran_flat(r, -0.3, 1);
    }
    return (likelihood){.n = n,
                        .obs = obs,
                        .points = points,
                        .groups = 2,
                        .n_x = 2,
                        .share = 0.03,
                        .span_s = 2,
                        .rate_floor = 0.1,
                        .slack = 0.25};
}

static void check_gradient(const likelihood *l, const prior *p, const double *theta, double *worst)
{
    penalised both = {l, p};
    double gradient[LIKELIHOOD_PARAMETERS], at[LIKELIHOOD_PARAMETERS];
    penalised_value(&both, theta, gradient);
    memcpy(at, theta, sizeof at);
    for (size_t i = 0; i < likelihood_parameters(l); i++) {
        double h = 1e-5;
        at[i] = theta[i] + h;
        double above = penalised_value(&both, at, NULL);
        at[i] = theta[i] - h;
        double below = penalised_value(&both, at, NULL);
        at[i] = theta[i];
        double slope = (above - below) / (2 * h);
        *worst = fmax(*worst, fabs(slope - gradient[i]) / (1 + fabs(slope)));
    }
}

/* A search may go astray: no finite value there, and no crash. */
static void check_no_number(const likelihood *l, const prior *p, const double *theta)
{
    const double astray[] = {(double)NAN, INFINITY, -INFINITY};
    penalised both = {l, p};
    double gradient[LIKELIHOOD_PARAMETERS], at[LIKELIHOOD_PARAMETERS];
    for (size_t k = 0; k < 3; k++)
        for (unsigned g = 0; g < 2; g++) {
            memcpy(at, theta, sizeof at);
            at[likelihood_b0(l, g)] = astray[k];
            assert_true(!isfinite(penalised_value(&both, at, gradient)));
        }
}

static void test_gradient(void **state)
{
    (void)state;
    enum { N = 15 };
    threshold_obs obs[N];
    threshold_point points[3 * N];
    double worst = 0, worst_scatter = 0;
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    for (unsigned long seed = 1; seed <= 20; seed++) {
        gsl_rng_set(r, seed);
        likelihood l = zoo(r, obs, points, N);
        l.shared = seed % 2;
        l.offset = seed % 3;
        l.share = seed % 4 ? 0.03 : 0;
        l.scatter = seed % 5 == 1 || seed % 5 == 2;
        for (size_t i = 0; i < N; i++)
            obs[i].session = i / 10;
        if (l.offset || l.scatter)
            likelihood_grid_new(&l, 1);
        prior p = prior_defaults();
        prior_count(&p, &l);
        double theta[LIKELIHOOD_PARAMETERS] = {58, 62, 0.3, 0.01};
        theta[likelihood_b(&l, 1, 0)] = 0.25;
        theta[likelihood_log_s(&l, 0)] = -0.3;
        theta[likelihood_log_s(&l, 1)] = 0.2;
        if (l.offset)
            theta[likelihood_offset(&l)] = 0.4;
        if (l.scatter)
            theta[likelihood_scatter(&l)] = -0.5;
        check_gradient(&l, &p, theta, l.scatter ? &worst_scatter : &worst);
        if (l.share > 0) /* as all fits have it */
            check_no_number(&l, &p, theta);
        likelihood_grid_free(l.grid);
    }
    gsl_rng_free(r);
    printf("gradient: worst relative error %.1e, with sessions %.1e\n", worst, worst_scatter);
    /* Central differences over 1e-5 of values near 100: rounding 1e-14 * 100 / 1e-5 = 1e-7. */
    assert_true(worst < 2e-6);
    /* Nodes do not move with a coefficient's derivative but do with its difference: what they leave
     * of the integral (below) counts. */
    assert_true(worst_scatter < 0.05);
}

typedef struct at_offset {
    likelihood l;
    double theta[LIKELIHOOD_PARAMETERS], sd;
} at_offset;

/* The product over one cluster with a given offset, as a shift of both boundaries. */
static double given_offset(double a, void *data)
{
    at_offset *o = data;
    double theta[LIKELIHOOD_PARAMETERS];
    memcpy(theta, o->theta, sizeof theta);
    theta[0] += a;
    theta[1] += a;
    return exp(likelihood_value(&o->l, theta, NULL)) * gsl_ran_gaussian_pdf(a, o->sd);
}

/* The random offset: the sum over nodes against GSL's adaptive integration. */
static void test_offset_integral(void **state)
{
    (void)state;
    enum { N = 15 };
    threshold_obs obs[N];
    threshold_point points[3 * N];
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r, 11);
    at_offset o = {
        .l = zoo(r, obs, points, N), .theta = {58, 62, 0.3, 0.3, 0.01, -0.5, 0}, .sd = 0.6};
    gsl_integration_workspace *w = gsl_integration_workspace_alloc(200);
    double sum = 0, part, error, whole[LIKELIHOOD_PARAMETERS];
    for (size_t c = 0; c < 3; c++) {
        o.l.obs = obs + 5 * c;
        o.l.n = 5;
        gsl_function f = {given_offset, &o};
        gsl_integration_qag(&f, -6, 6, 0, 1e-9, 200, GSL_INTEG_GAUSS61, w, &part, &error);
        sum += log(part);
    }
    likelihood l = o.l;
    l.obs = obs;
    l.n = N;
    l.offset = true;
    memcpy(whole, o.theta, sizeof whole);
    whole[likelihood_offset(&l)] = -0.6;
    likelihood_grid_new(&l, 1);
    close_to("integrated over the offset", sum, likelihood_value(&l, whole, NULL), 3e-4);
    likelihood_grid_free(l.grid);
    gsl_integration_workspace_free(w);
    gsl_rng_free(r);
}

/* The scatter of sessions, by nodes that look for their place, against GSL's adaptive integration;
 * one session has a single take, one flipped far off, and the scatter is small, middling or large.
 * Observations that contradict each other make posteriors far from normal; five nodes leave 0.02 of
 * a log-likelihood each there. */
static void test_scatter_integral(void **state)
{
    (void)state;
    enum { N = 15 };
    threshold_obs obs[N];
    threshold_point points[3 * N];
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_integration_workspace *w = gsl_integration_workspace_alloc(400);
    double worst = 0;
    for (unsigned long seed = 1; seed <= 8; seed++) {
        gsl_rng_set(r, seed);
        at_offset o = {.l = zoo(r, obs, points, N),
                       .theta = {58, 62, 0.3, 0.3, 0.01, -0.5, 0},
                       .sd = 0.1 * exp(0.25 * (double)seed)};
        likelihood l = o.l;
        double sum = 0, part, error, whole[LIKELIHOOD_PARAMETERS];
        for (size_t i = 0; i < N; i++)
            obs[i].session = i / 5;
        for (size_t c = 0; c < 3; c++) {
            o.l.obs = obs + 5 * c;
            o.l.n = 5;
            gsl_function f = {given_offset, &o};
            gsl_integration_qag(&f, -8 * o.sd, 8 * o.sd, 0, 1e-9, 400, GSL_INTEG_GAUSS61, w, &part,
                                &error);
            sum += log(part);
        }
        memcpy(whole, o.theta, sizeof whole);
        l.scatter = true;
        whole[likelihood_scatter(&l)] = log(o.sd);
        likelihood_grid_new(&l, 1);
        worst = fmax(worst, fabs(likelihood_value(&l, whole, NULL) - sum));
        /* A place found elsewhere serves when the coefficients move. */
        whole[0] += 3;
        whole[1] += 3;
        likelihood_value(&l, whole, NULL);
        whole[0] -= 3;
        whole[1] -= 3;
        worst = fmax(worst, fabs(likelihood_value(&l, whole, NULL) - sum));
        likelihood_grid_free(l.grid);
    }
    printf("integrated over the sessions' scatter: worst error %.1e\n", worst);
    assert_true(worst < 0.02);
    gsl_integration_workspace_free(w);
    gsl_rng_free(r);
}

/* Where it hurts: the far tails, and intervals too narrow for a difference of two tails. */
static void test_normal_tails(void **state)
{
    (void)state;
    double slope, da, db;
    close_to("Q(-40)", 0, normal_log_tail(-40, &slope), 1e-300);
    for (double x = -8; x < 60; x += 0.37) {
        double got = normal_log_tail(x, &slope);
        double want =
            x < 0 ? log1p(-gsl_cdf_ugaussian_P(x)) : gsl_sf_log_erfc(x / M_SQRT2) - log(2);
        close_to("log tail", want, got, 1e-12 * (1 + fabs(want)));
        close_to("its slope", -gsl_sf_hazard(x), slope, 1e-9 * (1 + gsl_sf_hazard(x)));
        fours at = {x, x + 0.1, -x, 0}, tail = normal_tail(at, normal_density(at));
        for (int lane = 0; lane < 4; lane++)
            close_to("tail", gsl_cdf_ugaussian_Q(at[lane]), tail[lane], 1e-15);
    }
    for (double a = -12; a < 40; a += 1.3)
        for (double w = 1e-12; w < 30; w *= 7) {
            double got = normal_log_mean_density(a, a + w, &da, &db);
            /* The density at a, and the difference of tails, bound it. */
            double low = fmin(-0.5 * a * a, -0.5 * (a + w) * (a + w)) - 0.5 * log(2 * M_PI);
            double nearest = a > 0 ? a : a + w < 0 ? a + w : 0;
            assert_true(got >= low - 1e-9 && got <= -0.5 * nearest * nearest - 0.9189385332 + 1e-9);
            double both = normal_log_mean_density(a + 1e-6, a + w + 1e-6, NULL, NULL) -
                          normal_log_mean_density(a - 1e-6, a + w - 1e-6, NULL, NULL);
            close_to("mean density's slope", both / 2e-6, da + db, 1e-6 * (1 + a * a));
        }
    close_to("wide", log((gsl_cdf_ugaussian_P(2) - gsl_cdf_ugaussian_P(-1)) / 3),
             normal_log_mean_density(-1, 2, NULL, NULL), 1e-14);
    close_to("narrow", log(gsl_ran_ugaussian_pdf(1.5)), normal_log_mean_density(1.5, 1.5, &da, &db),
             1e-14);
}

/* The mean density of four at once against the difference of two tails, which is right to
 * 1e-16 / w, and its derivatives to 1e-16 / w^2. */
static void test_mean_density_of_four(void **state)
{
    (void)state;
    double worst = 0;
    for (double a = -9; a < 9; a += 0.37)
        for (double w = 1e-3; w < 30; w *= 1.7) {
            fours at = {a, a + 0.01, a + 0.02, a + 0.03}, da, db;
            fours got = normal_mean_density(&at, w, &da, &db);
            for (int lane = 0; lane < 4; lane++) {
                double lo = fabs(at[lane]), hi = fabs(at[lane] + w);
                bool apart = at[lane] < 0 && at[lane] + w > 0;
                double inside = fabs(gsl_cdf_ugaussian_Q(lo) - gsl_cdf_ugaussian_Q(hi)) / w;
                if (apart)
                    inside = (1 - gsl_cdf_ugaussian_Q(lo) - gsl_cdf_ugaussian_Q(hi)) / w;
                worst = fmax(worst, fabs(got[lane] - inside));
                worst = fmax(worst, fabs(da[lane] - (inside - gsl_ran_ugaussian_pdf(lo)) / w));
                worst = fmax(worst, fabs(db[lane] - (gsl_ran_ugaussian_pdf(hi) - inside) / w));
            }
        }
    printf("mean density of four: worst error %.1e\n", worst);
    assert_true(worst < 1e-9);
}

static double ridge(const void *data, const double *theta, double *opt_gradient)
{
    (void)data;
    double kink = fabs(theta[0] - 1), bowl = theta[1] - 2 * theta[0];
    if (opt_gradient) {
        opt_gradient[0] = -(theta[0] > 1 ? 1 : -1) + 4 * bowl;
        opt_gradient[1] = -2 * bowl;
    }
    return -kink - bowl * bowl;
}

/* A maximum that lies on a kink, in a corner that steepest ascent zigzags into. */
static void test_maximum_on_kink(void **state)
{
    (void)state;
    objective f = {2, ridge, NULL, {0.1, 0.1}};
    square directions = {{{0.5}, {0, 0.5}}};
    maximum m = maximum_find(&f, (double[]){-3, 7}, 2, &directions, 1e-4);
    close_to("on the kink", 1, m.theta[0], 1e-3);
    close_to("beside it", 2, m.theta[1], 2e-3);
    m = maximum_find(&f, (double[]){-3, 7}, 0, &directions, 1e-4);
    close_to("no direction", -4 - 169, m.value, 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_motorettes),
        cmocka_unit_test(test_tobin),
        cmocka_unit_test(test_mixed_censoring),
        cmocka_unit_test(test_student_interval),
        cmocka_unit_test(test_tiny_case),
        cmocka_unit_test(test_gradient),
        cmocka_unit_test(test_offset_integral),
        cmocka_unit_test(test_scatter_integral),
        cmocka_unit_test(test_interval_censoring),
        cmocka_unit_test(test_normal_tails),
        cmocka_unit_test(test_mean_density_of_four),
        cmocka_unit_test(test_maximum_on_kink),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
