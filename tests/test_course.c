/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sessions compared. Oracles: mixed models of the literature, Student's two-sample test, simulated
 * sessions of known shift. */
#include "base/array.h"
#include "fit/course.h"
#include "voice/simdraw.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <gsl/gsl_cdf.h>

#define N_OF(a) (sizeof(a) / sizeof *(a))

static void close_to(const char *what, double want, double got, double atol)
{
    if (!(fabs(got - want) <= atol))
        fail_msg("%s: %.10g, wanted %.10g within %g", what, got, want, atol);
}

/* Means of groups of equal size on a constant: what restricted maximum likelihood gives. */
static scatter_fit of_means(const double *means, size_t n, double residual, double group_size)
{
    scatter_point points[8];
    scatter_fit f;
    for (size_t i = 0; i < n; i++)
        points[i] = (scatter_point){means[i], residual / sqrt(group_size), {1, 0}};
    assert_true(scatter_regress(points, n, 1, 9, &f));
    assert_false(f.assumed);
    return f;
}

/* Travel times of ultrasound in six rails, three a rail: Pinheiro & Bates, Mixed-Effects Models in
 * S and S-PLUS (2000), from memory: mean 66.5, SE 10.17, between 24.805, residual 4.021. */
static void test_rails(void **state)
{
    (void)state;
    const double means[] = {54, 95 / 3.0, 254 / 3.0, 96, 50, 248 / 3.0};
    scatter_fit f = of_means(means, N_OF(means), 4.02077936, 3);
    printf("rails: %.6f (%.6f), between %.6f\n", f.beta[0], f.error[0], f.scatter);
    close_to("mean", 66.5, f.beta[0], 1e-9);
    close_to("standard error", 10.1710373, f.error[0], 1e-6);
    close_to("between", 24.80546531, f.scatter, 1e-6);
}

/* Yield of dyestuff in six batches of five: Davies & Goldsmith 1972, as in Bates's lme4: mean
 * 1527.5, SE 19.38, between 42.00, residual 49.51 (from memory). */
static void test_dyestuff(void **state)
{
    (void)state;
    const double means[] = {1505, 1528, 1564, 1498, 1600, 1470};
    scatter_fit f = of_means(means, N_OF(means), 49.5100981, 5);
    close_to("mean", 1527.5, f.beta[0], 1e-9);
    close_to("standard error", 19.3834157, f.error[0], 1e-5);
    close_to("between", 42.0006056, f.scatter, 1e-5);
}

/* With equal errors the shift is Student's two-sample test, whatever the errors are. */
static void test_two_samples(void **state)
{
    (void)state;
    const double y[] = {60.1, 61.3, 60.6, 62.2, 62.9, 61.8, 63.1};
    for (double error = 0.1; error < 3; error *= 5) {
        scatter_point points[N_OF(y)];
        for (size_t i = 0; i < N_OF(y); i++)
            points[i] = (scatter_point){y[i], error, {1, i >= 3}};
        scatter_fit f;
        assert_true(scatter_regress(points, N_OF(y), 2, 0.7, &f));
        double a = (y[0] + y[1] + y[2]) / 3, b = (y[3] + y[4] + y[5] + y[6]) / 4, squares = 0;
        for (size_t i = 0; i < N_OF(y); i++)
            squares += pow(y[i] - (i < 3 ? a : b), 2);
        double half = gsl_cdf_tdist_Pinv(0.975, 5) * sqrt(squares / 5 * (1 / 3.0 + 1 / 4.0));
        figure shift = scatter_figure(&f, 1);
        close_to("shift", b - a, shift.estimate, 1e-9);
        close_to("lower end", b - a - half, shift.lo95, 1e-6);
        close_to("upper end", b - a + half, shift.hi95, 1e-6);
        close_to("scatter", sqrt(fmax(squares / 5 - error * error, 0)), f.scatter, 1e-6);
    }
}

/* Two sessions: the assumed scatter, counted twice, and the normal distribution. */
static void test_too_few(void **state)
{
    (void)state;
    scatter_point points[] = {{60, 0.3, {1, 0}}, {62, 0.4, {1, 1}}, {(double)NAN, 1, {1, 2}}};
    scatter_fit f;
    assert_true(scatter_regress(points, 3, 2, 0.7, &f));
    assert_true(f.assumed);
    figure d = scatter_figure(&f, 1);
    double error = sqrt(0.25 + 2 * 0.49);
    close_to("half width", 1.959964 * error, d.hi95 - d.estimate, 1e-5);
    close_to("detectable", (1.959964 + 0.841621) * error, scatter_detectable(&f, 1), 1e-5);
    assert_false(scatter_regress(points, 1, 2, 0.7, &f));
    points[1].x[1] = 0;
    assert_false(scatter_regress(points, 2, 2, 0.7, &f));
    assert_false(scatter_regress(points, 0, 1, 0.7, &f));
}

enum { SESSIONS = 6, EACH = 5 };

/* Sessions a month apart of a voice that climbs a semitone a month: each session is found, and the
 * trend; and six sessions of an unchanged one show none. */
static void check_course(double st_a_month, unsigned long seed)
{
    path takes[SESSIONS * EACH];
    course_session sessions[SESSIONS];
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r, seed);
    simsinger s = simdraw_singer(0, 0, r);
    s.up_spread = s.down_spread = 0.4;
    for (size_t i = 0; i < SESSIONS; i++) {
        simsinger today = s;
        today.up_st += st_a_month * (double)i;
        today.down_st += st_a_month * (double)i;
        sessions[i] = (course_session){i * EACH, EACH, 365.25 / 12 * (double)i};
        for (size_t k = 0; k < EACH; k++) {
            simtake t = simdraw_take(&today, r);
            takes[i * EACH + k] = simpath_new(&today, &t, "take", r);
        }
    }
    course c;
    err e = {""};
    assert_true(course_fit(takes, SESSIONS * EACH, sessions, SESSIONS, s.at_db, &c, &e));
    for (size_t i = 0; i < SESSIONS; i++)
        close_to("session", s.up_st + st_a_month * (double)i, c.rows[i][BOUNDARY_UP_PITCH].estimate,
                 1.0);
    scatter_fit f;
    assert_true(course_trend(&c, BOUNDARY_UP_PITCH, COURSE_SCATTER_ST, &f));
    figure trend = scatter_figure(&f, 1);
    printf("true %+.1f, found %+.2f (%+.2f to %+.2f) st/month, scatter %.2f, detectable %.2f\n",
           st_a_month, trend.estimate, trend.lo95, trend.hi95, f.scatter,
           scatter_detectable(&f, 1));
    assert_true(trend.lo95 <= st_a_month && st_a_month <= trend.hi95);
    assert_true((trend.lo95 > 0) == (st_a_month > 0));
    assert_true(course_shift(&c, BOUNDARY_UP_PITCH, 3, COURSE_SCATTER_ST, &f));
    close_to("shift", 3 * st_a_month, scatter_figure(&f, 1).estimate, 1.0);
    course_clear(&c);
    for (size_t i = 0; i < SESSIONS * EACH; i++)
        simpath_free(&takes[i]);
    gsl_rng_free(r);
}

static void test_course(void **state)
{
    (void)state;
    check_course(1, 3);
    check_course(0, 4);
}

enum { FEW = 3 };

/* Each of one, two or three sessions tells what its own takes tell, which do not count twice. */
static void test_few_sessions(void **state)
{
    (void)state;
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    simsinger s = simdraw_singer(0, 0, r);
    path takes[FEW * EACH];
    course_session sessions[FEW];
    for (size_t k = 0; k < FEW * EACH; k++) {
        simtake t = simdraw_take(&s, r);
        takes[k] = simpath_new(&s, &t, "take", r);
    }
    boundary_settings how = boundary_defaults();
    how.at_db = s.at_db;
    err e = {""};
    for (size_t n = 1; n <= FEW; n++) {
        boundary *b;
        course c;
        sessions[n - 1] = (course_session){(n - 1) * EACH, EACH, (double)n};
        assert_true(boundary_fit(takes + (n - 1) * EACH, EACH, &how, &b, &e));
        assert_true(course_fit(takes, n * EACH, sessions, n, s.at_db, &c, &e));
        for (int row = 0; row < BOUNDARY_ROWS; row++) {
            figure f = boundary_figure(b, (boundary_row)row), got = c.rows[n - 1][row];
            close_to("width", f.hi95 - f.lo95, got.hi95 - got.lo95, 1e-9);
        }
        course_clear(&c);
        boundary_free(b);
    }
    for (size_t k = 0; k < FEW * EACH; k++)
        simpath_free(&takes[k]);
    gsl_rng_free(r);
}

/* A session that tells nothing keeps its place; nothing at all is a sentence. */
static void test_nothing(void **state)
{
    (void)state;
    err e = {""};
    course c;
    assert_false(course_fit(NULL, 0, NULL, 0, (double)NAN, &c, &e));
    assert_true(strlen(e.text) > 10);
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    simsinger s = simdraw_singer(0, 0, r);
    path takes[5];
    for (size_t k = 0; k < 5; k++) {
        simtake t = simdraw_take(&s, r);
        takes[k] = simpath_new(&s, &t, "take", r);
    }
    course_session sessions[] = {{0, 4, 0}, {4, 0, 10}};
    assert_true(course_fit(takes, 5, sessions, 2, (double)NAN, &c, &e));
    assert_true(isfinite(c.rows[0][BOUNDARY_UP_PITCH].estimate));
    assert_true(isnan(c.rows[1][BOUNDARY_UP_PITCH].estimate));
    scatter_fit f;
    assert_false(course_trend(&c, BOUNDARY_UP_PITCH, COURSE_SCATTER_ST, &f));
    course_clear(&c);
    for (size_t k = 0; k < 5; k++)
        simpath_free(&takes[k]);
    gsl_rng_free(r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_rails),       cmocka_unit_test(test_dyestuff),
        cmocka_unit_test(test_two_samples), cmocka_unit_test(test_too_few),
        cmocka_unit_test(test_course),      cmocka_unit_test(test_few_sessions),
        cmocka_unit_test(test_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
