/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The third test voice, whose folds move by themselves. Oracles: the frequencies of a tube (closed
 * form), a step of time half as long, what is published of folds (pressure at which they begin,
 * frequency, both from memory of Titze 1992), and the sound against the motion. */
#include "base/array.h"
#include "base/note.h"
#include "voice3/reel.h"
#include "voice3/tubes.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* Frequency (Hz) and greatest area of folds left to themselves for `seconds`, no waves. */
static double freely(const cover *c, double tension, double pressure_pa, double step_s,
                     double *area_m2)
{
    const double seconds = 0.5;
    cover_state s = {.x_m = {1e-5}};
    size_t n = (size_t)(seconds / step_s);
    motion m = {n, 1 / step_s, xcalloc(n, sizeof(float)), xcalloc(n, sizeof(float))};
    for (size_t i = 0; i < n; i++) {
        cover_gaps g = cover_measure(c, &s, tension);
        m.area_m2[i] = (float)g.area_m2;
        cover_step(c, &s, &g, tension, pressure_pa, 0, step_s);
    }
    periods p = periods_measure(&m, 0.5);
    double hz = 0, count = 0;
    *area_m2 = p.n ? p.items[p.n - 1].swing_m2 : 0;
    for (size_t i = 0; i < p.n; i++)
        if (p.items[i].reg && p.items[i].start_s > seconds / 2) {
            hz += 1 / p.items[i].length_s;
            count++;
        }
    periods_clear(&p);
    free(m.area_m2);
    free(m.contact);
    return hz / count;
}

/* Folds that nearly touch at rest and lose little begin early: some 200 to 400 Pa are published. */
static void test_folds_begin_at_a_plausible_pressure(void **state)
{
    (void)state;
    for (int s = 0; s < ENSEMBLE_SINGERS; s++) {
        const ensemble_row *row = ensemble_get((ensemble_singer)s);
        double area, least = 0, step = 1 / TUBES_RATE_HZ;
        for (double pa = 10; pa <= 1500 && least == 0; pa *= 1.2) {
            freely(&row->folds, row->middle, pa, step, &area);
            if (area > 1e-6)
                least = pa;
        }
        double hz = freely(&row->folds, row->slack, row->pressure_pa, step, &area);
        printf("%s: from %.0f Pa on; %.0f Hz at least\n", row->name, least, hz);
        assert_true(least > 10 && least <= row->pressure_pa / 2);
        assert_true(hz > 100 && hz < 300);
    }
}

static void test_half_the_step_changes_little(void **state)
{
    (void)state;
    double worst = 0;
    for (int s = 0; s < ENSEMBLE_SINGERS; s++) {
        const ensemble_row *row = ensemble_get((ensemble_singer)s);
        double area, step = 1 / TUBES_RATE_HZ;
        double hz = freely(&row->folds, row->slack, row->pressure_pa, step, &area);
        double fine = freely(&row->folds, row->slack, row->pressure_pa, step / 2, &area);
        worst = fmax(worst, fabs(hz / fine - 1));
    }
    printf("frequency with half the step: at most %.2f %% off\n", 100 * worst);
    assert_true(worst < 0.01);
}

/* Strongest of frequencies near f_hz in what is heard after one push of air. */
static double resonance(double length_m, double from_hz, double to_hz)
{
    enum { N = 9600 };
    static const double straight[2] = {3, 3};
    tubes t = tubes_rest(length_m, 0.2, straight, 2, 0);
    double heard[N], best = 0, at = 0;
    for (int i = 0; i < N; i++)
        heard[i] = tubes_step(&t, i == 0 ? 1e-5 : 0, 800, 0).heard;
    for (double f = from_hz; f <= to_hz; f += 2) {
        double re = 0, im = 0;
        for (int i = 0; i < N; i++) {
            re += heard[i] * cos(2 * M_PI * f * i / TUBES_RATE_HZ);
            im += heard[i] * sin(2 * M_PI * f * i / TUBES_RATE_HZ);
        }
        if (hypot(re, im) > best) {
            best = hypot(re, im);
            at = f;
        }
    }
    return at;
}

static void test_tube_of_a_quarter_wave(void **state)
{
    (void)state;
    double first = resonance(0.175, 300, 700), third = resonance(0.175, 1200, 1800);
    printf("tube of 17.5 cm: %.0f and %.0f Hz, ideally 500 and 1500\n", first, third);
    assert_true(fabs(first - 500) < 25 && fabs(third - 1500) < 60); /* lips count some more */
}

/* The sound's period near t, by its autocorrelation, within a fifth of the expected one;
 * jitter alone makes it some 0.5 % off. */
static double heard_period(const reel *r, double t_s, double near_s)
{
    const long half = (long)(0.025 * REEL_RATE_HZ), middle = (long)(t_s * REEL_RATE_HZ);
    double value[3] = {0}, best = -1, at = 0;
    long lo = (long)(0.8 * near_s * REEL_RATE_HZ), hi = (long)(1.2 * near_s * REEL_RATE_HZ);
    for (long lag = lo; lag <= hi + 1; lag++) {
        double xy = 0, xx = 0, yy = 0;
        for (long i = middle - half; i <= middle + half; i++) {
            double x = r->samples[i - lag / 2], y = r->samples[i - lag / 2 + lag];
            xy += x * y;
            xx += x * x;
            yy += y * y;
        }
        value[0] = value[1];
        value[1] = value[2];
        value[2] = xy / sqrt(xx * yy);
        if (lag >= lo + 2 && value[1] > best && value[1] >= value[0] && value[1] >= value[2]) {
            double bend = value[0] - 2 * value[1] + value[2];
            best = value[1];
            at = (double)(lag - 1) + (value[0] - value[2]) / 2 / bend;
        }
    }
    return at / REEL_RATE_HZ;
}

static void test_sound_has_the_period_of_the_motion(void **state)
{
    (void)state;
    static const ensemble_singer singers[2] = {ENSEMBLE_LEAPING, ENSEMBLE_WOMAN};
    for (int k = 0; k < 2; k++) {
        reel r = reel_sing(singers[k], 1, 3);
        periods p = periods_measure(&r.folds, ensemble_get(singers[k])->contact);
        double off[400];
        size_t n = 0;
        for (double t = 0.5; t < (double)r.n / REEL_RATE_HZ - 0.5 && n < 400; t += 0.02) {
            double st, near = INFINITY;
            if (!periods_at(&p, t, &st))
                continue;
            for (size_t i = 0; i < p.n_changes; i++)
                near = fmin(near, fabs(p.changes[i].time_s - t));
            if (near > 0.05)
                off[n++] = fabs(heard_period(&r, t, 1 / note_to_hz(st)) * note_to_hz(st) - 1);
        }
        gsl_sort(off, 1, n);
        double median = gsl_stats_median_from_sorted_data(off, 1, n);
        double most = gsl_stats_quantile_from_sorted_data(off, 1, n, 0.9);
        printf("%s: period of the sound %.2f %% off, nine in ten at most %.2f %%\n",
               ensemble_get(singers[k])->name, 100 * median, 100 * most);
        assert_true(n > 50 && median < 0.005);
        periods_clear(&p);
        reel_clear(&r);
    }
}

/* Up with the tension and down again: the flips come at different places, the lower one downwards,
 * as where both registers can be. */
static void test_flips_have_hysteresis(void **state)
{
    (void)state;
    const ensemble_row *row = ensemble_get(ENSEMBLE_LEAPING);
    gesture g = {.kind = "siren",
                 .seconds = 5,
                 .tension = {row->slack, row->taut},
                 .pressure_pa = {row->pressure_pa, row->pressure_pa}};
    reel r = reel_follow(ENSEMBLE_LEAPING, 1, 0, &g);
    periods p = periods_measure(&r.folds, row->contact);
    assert_int_equal(p.n_changes, 2);
    double tension[2], pa;
    for (int i = 0; i < 2; i++) {
        gesture_at(&g, p.changes[i].time_s, &tension[i], &pa);
        printf("%s at tension %.2f, %.2f st\n", p.changes[i].up ? "up" : "down", tension[i],
               p.changes[i].after_st - p.changes[i].before_st);
        assert_true(p.changes[i].sudden);
    }
    assert_true(p.changes[0].up && !p.changes[1].up && tension[1] < tension[0]);
    periods_clear(&p);
    reel_clear(&r);
    r = reel_sing(ENSEMBLE_CHEST, 1, 0);
    p = periods_measure(&r.folds, ensemble_get(ENSEMBLE_CHEST)->contact);
    assert_int_equal(p.n_changes, 0);
    periods_clear(&p);
    reel_clear(&r);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_folds_begin_at_a_plausible_pressure),
        cmocka_unit_test(test_half_the_step_changes_little),
        cmocka_unit_test(test_tube_of_a_quarter_wave),
        cmocka_unit_test(test_sound_has_the_period_of_the_motion),
        cmocka_unit_test(test_flips_have_hysteresis),
    };
    return cmocka_run_group_tests_name("voice3", tests, NULL, NULL);
}
