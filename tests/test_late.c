/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a room keeps, taken off. Oracle: notes made here, one after the other, near by and in rooms
 * whose response is noise that falls by 60 dB in a given time (Polack 1988, *La transmission de
 * l'énergie sonore dans les salles*; from memory), so that what is direct is known. */
#include "base/array.h"
#include "voice/late.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { RATE_HZ = 4000, NOTES = 8, NOTE = RATE_HZ / 2, SAMPLES = NOTES * NOTE };

static double uniform(uint32_t *seed)
{
    *seed = *seed * 1664525U + 1013904223U;
    return (double)(*seed >> 8) / 16777216 - 0.5;
}

/* Notes of half a second, fifths up and down, of harmonics 6 dB an octave down; a breath 50 dB
 * under them. */
static void sing(float *x)
{
    uint32_t seed = 3;
    double phase = 0;
    for (size_t i = 0; i < SAMPLES; i++) {
        double hz = i / NOTE % 2 ? 330 : 220;
        phase += 2 * M_PI * hz / RATE_HZ;
        x[i] = (float)(2e-3 * uniform(&seed));
        for (int k = 1; k * hz < 1500; k++)
            x[i] += (float)(0.2 / k * sin(k * phase + k));
    }
}

/* Adds a room of that reverberation time, as far under the direct sound as drr_db. */
static void enter_room(float *x, double t60_s, double drr_db)
{
    size_t n = (size_t)(t60_s * RATE_HZ);
    double *h = xmalloc(n, sizeof *h), power = 0;
    float *direct = xmalloc(SAMPLES, sizeof *direct);
    uint32_t seed = 7;
    memcpy(direct, x, SAMPLES * sizeof *x);
    for (size_t k = 0; k < n; k++) {
        h[k] = uniform(&seed) * pow(10, -3 * (double)k / (t60_s * RATE_HZ));
        power += h[k] * h[k];
    }
    for (size_t k = 0; k < n; k++)
        for (size_t i = k + 1; i < SAMPLES; i++)
            x[i] += (float)(sqrt(pow(10, -drr_db / 10) / power) * h[k]) * direct[i - k - 1];
    free(direct);
    free(h);
}

/* Power at hz over 100 ms from the sample on. */
static double power_at(const float *x, size_t from, double hz)
{
    enum { N = RATE_HZ / 10 };
    double re = 0, im = 0;
    for (size_t i = 0; i < N; i++) {
        double window = 1 - cos(2 * M_PI * (double)i / N), turn = 2 * M_PI * hz / RATE_HZ;
        re += window * (double)x[from + i] * cos(turn * (double)i);
        im += window * (double)x[from + i] * sin(turn * (double)i);
    }
    return re * re + im * im;
}

/* Mean level of the first harmonic of the note before (old) or of the note itself, 50 to 150 ms
 * after each change and at the end of each note. */
static double level_db(const float *x, bool old, bool at_end)
{
    double sum = 0;
    for (size_t note = 1; note < NOTES; note++) {
        size_t from = note * NOTE + (at_end ? NOTE - RATE_HZ / 8 : RATE_HZ / 20);
        sum += power_at(x, from, (note % 2 == 1) == old ? 220 : 330);
    }
    return 10 * log10(sum / (NOTES - 1));
}

static void test_the_old_note_is_taken_off(void **state)
{
    (void)state;
    static const struct room {
        double t60_s, drr_db, least_db; /* by how much the old note has to fall */
    } rooms[] = {{0.4, 6, 8}, {0.7, 3, 6}, {0.5, 10, 6}};
    for (size_t r = 0; r < sizeof rooms / sizeof *rooms; r++) {
        signal s = {.x = xcalloc(SAMPLES, sizeof *s.x), .n = SAMPLES, .rate_hz = RATE_HZ};
        sing(s.x);
        enter_room(s.x, rooms[r].t60_s, rooms[r].drr_db);
        signal direct = late_taken_off(&s);
        double old_db = level_db(s.x, true, false) - level_db(direct.x, true, false);
        double begin_db = level_db(s.x, false, false) - level_db(direct.x, false, false);
        double held_db = level_db(s.x, false, true) - level_db(direct.x, false, true);
        print_message(
            "%g s, %g dB: the old note falls by %.1f dB, the new one by %.1f, held %.1f\n",
            rooms[r].t60_s, rooms[r].drr_db, old_db, begin_db, held_db);
        /* Held notes lose 1 - 2 x 0.25 or so. */
        assert_true(old_db > rooms[r].least_db && begin_db < 3.2 && held_db < 3.2);
        free(s.x);
        signal_clear(&direct);
    }
}

static void test_near_by_nothing_is(void **state)
{
    (void)state;
    signal s = {.x = xcalloc(SAMPLES, sizeof *s.x), .n = SAMPLES, .rate_hz = RATE_HZ};
    sing(s.x);
    signal direct = late_taken_off(&s);
    assert_true(direct.n == SAMPLES && direct.rate_hz == RATE_HZ);
    assert_memory_equal(direct.x, s.x, SAMPLES * sizeof *s.x);
    signal_clear(&direct);
    memset(s.x, 0, SAMPLES * sizeof *s.x);
    for (size_t n = 0; n <= SAMPLES; n = n ? 7 * n : 1) { /* silence, of any length */
        signal part = {.x = s.x, .n = n, .rate_hz = RATE_HZ}, still = late_taken_off(&part);
        assert_int_equal(still.n, n);
        for (size_t i = 0; i < n; i++)
            assert_true(still.x[i] == 0);
        signal_clear(&still);
    }
    free(s.x);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_old_note_is_taken_off),
        cmocka_unit_test(test_near_by_nothing_is),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
