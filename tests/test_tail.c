/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Notes that a room still holds when the next has begun. Oracle: notes made here, of which the
 * first dies away as in a room with a reverberation time of 0.6 s, with the pitch given late. */
#include "base/array.h"
#include "base/note.h"
#include "voice/tail.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

enum { RATE_HZ = 4000, SAMPLES = 2 * RATE_HZ, FRAMES = 400 };
static const double hop_s = 0.005, change_s = 1, reverberation_s = 0.6;

/* Harmonics up to 1.5 kHz, 6 dB an octave down, of a note that sounds from 0 to change_s and then
 * rings, or of the next, whose first 20 ms fade in. */
static void add_note(float *x, double st, double amplitude, bool next, double rings_s)
{
    for (int k = 1; k * note_to_hz(st) < 1500; k++)
        for (size_t i = 0; i < SAMPLES; i++) {
            double t = (double)i / RATE_HZ, after_s = t - change_s;
            double ring = after_s < 0 ? 1 : rings_s > 0 ? pow(10, -3 * after_s / rings_s) : 0;
            double gain = next ? fmax(0, fmin(1, after_s / 0.02)) : ring;
            x[i] += (float)(gain * amplitude / k * sin(2 * M_PI * k * note_to_hz(st) * t + k));
        }
}

/* The first frame at the new pitch, of which the path knows from late_s after the change on. */
static double new_from_s(double old_st, double new_st, double soft_db, double late_s,
                         double rings_s, double glide_s)
{
    signal s = {.x = xcalloc(SAMPLES, sizeof *s.x), .n = SAMPLES, .rate_hz = RATE_HZ};
    double st[FRAMES];
    add_note(s.x, old_st, 0.3, false, rings_s);
    add_note(s.x, new_st, 0.3 * pow(10, -soft_db / 20), true, 0);
    for (size_t i = 0; i < FRAMES; i++) {
        double part = ((double)i * hop_s - change_s - late_s) / fmax(glide_s, 1e-9) + 1;
        st[i] = old_st + (new_st - old_st) * fmax(0, fmin(part, 1));
    }
    tail_mend(&s, hop_s, FRAMES, st);
    size_t i = 0;
    while (i < FRAMES && fabs(st[i] - new_st) > 0.5)
        i++;
    free(s.x);
    return (double)i * hop_s;
}

static void test_the_new_note_is_there_before_the_old_has_died(void **state)
{
    (void)state;
    static const double leaps_st[] = {-9, -5, -2, 4, -12}, soft_db[] = {6, 14};
    for (size_t k = 0; k < sizeof leaps_st / sizeof *leaps_st; k++)
        for (int s = 0; s < 2; s++) {
            double at = new_from_s(69, 69 + leaps_st[k], soft_db[s], 0.11, reverberation_s, 0);
            print_message("%+g st, %g dB softer: the new note from %.3f s\n", leaps_st[k],
                          soft_db[s], at);
            assert_true(at >= change_s - 0.01 && at <= change_s + 0.03); /* 1.11 as given */
        }
}

/* Harmonics of the new note all lie on the old one's, whose odd ones fade. */
static void test_an_octave_up_begins_where_the_old_note_fades(void **state)
{
    (void)state;
    static const double octaves_st[] = {11.7, 12, 12.3}, soft_db[] = {0, 6};
    for (size_t k = 0; k < sizeof octaves_st / sizeof *octaves_st; k++)
        for (int s = 0; s < 2; s++) {
            double at = new_from_s(57, 57 + octaves_st[k], soft_db[s], 0.11, reverberation_s, 0);
            print_message("%+g st, %g dB softer: the new note from %.3f s\n", octaves_st[k],
                          soft_db[s], at);
            assert_true(at >= change_s - 0.01 && at <= change_s + 0.05);
        }
}

static void test_what_is_no_tail_stays(void **state)
{
    (void)state;
    /* A note that ends where the pitch says; glides of 80 and 40 ms, which pass what is between. */
    assert_true(fabs(new_from_s(69, 62, 6, 0, 0, 0) - change_s) < 0.02);
    assert_true(fabs(new_from_s(69, 62, 6, 0.11, reverberation_s, 0.08) - 1.105) < 0.011);
    assert_true(fabs(new_from_s(69, 60, 6, 0.11, reverberation_s, 0.04) - 1.11) < 0.006);
    /* So at the octave up where no room rings, or where the old note goes on, or fades alone. */
    assert_true(fabs(new_from_s(57, 69, 0, 0, 0, 0) - change_s) < 0.02);
    assert_true(fabs(new_from_s(57, 69, 20, 0.11, 1e9, 0) - 1.11) < 1e-9);
    assert_true(fabs(new_from_s(57, 69, 100, 0.11, reverberation_s, 0) - 1.11) < 1e-9);
    /* Two octaves are no leap of a voice. */
    assert_true(fabs(new_from_s(81, 57, 6, 0.11, reverberation_s, 0) - 1.11) < 1e-9);
    /* Where the new note does not sound before, the pitch is right. */
    assert_true(fabs(new_from_s(69, 62, 6, -0.1, 0, 0) - 0.9) < 1e-9);
    double none[3] = {(double)NAN, (double)NAN, (double)NAN};
    signal s = {.x = (float[100]){0}, .n = 100, .rate_hz = RATE_HZ};
    tail_mend(&s, hop_s, 3, none);
    assert_true(isnan(none[0]) && isnan(none[1]) && isnan(none[2]));
    tail_mend(&s, hop_s, 0, none);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_new_note_is_there_before_the_old_has_died),
        cmocka_unit_test(test_an_octave_up_begins_where_the_old_note_fades),
        cmocka_unit_test(test_what_is_no_tail_stays),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
