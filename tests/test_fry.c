/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Fry heard as the ring of a formant. Oracle: notes made here, and between them pulses of 40 a
 * second, after each of which a formant rings, or a voice that has that pitch. */
#include "base/array.h"
#include "base/note.h"
#include "voice/fry.h"

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
static const double hop_s = 0.005, far_st = 13.5, from_s = 1, pulses_hz = 40, bandwidth_hz = 80;

typedef struct scene {
    double note_st, next_st, formant_hz, until_s; /* heard from from_s to until_s */
    bool pulses;                                  /* else a voice of that pitch */
} scene;
static const scene usual = {50, 50, 700, 1.5, true};

static bool is_between(const scene *s, double t)
{
    return t >= from_s && t < s->until_s;
}

static float sample(const scene *s, double t)
{
    if (is_between(s, t)) {
        double since = fmod(t - from_s, 1 / pulses_hz);
        double ring = s->pulses ? exp(-M_PI * bandwidth_hz * since) : 0.3;
        return (float)(ring * sin(2 * M_PI * s->formant_hz * (s->pulses ? since : t)));
    }
    double sum = 0, hz = note_to_hz(t < from_s ? s->note_st : s->next_st);
    for (int k = 1; k * hz < 1500; k++)
        sum += 0.3 / k * sin(2 * M_PI * k * hz * t + k);
    return (float)sum;
}

static double heard_st(const scene *s, double t)
{
    return is_between(s, t) ? note_from_hz(s->formant_hz) : t < from_s ? s->note_st : s->next_st;
}

/* How many frames between lose their pitch; no other does. */
static size_t silenced(const scene *s)
{
    signal low = {.x = xcalloc(SAMPLES, sizeof *low.x), .n = SAMPLES, .rate_hz = RATE_HZ};
    double st[FRAMES];
    size_t n = 0;
    for (size_t i = 0; i < SAMPLES; i++)
        low.x[i] = sample(s, (double)i / RATE_HZ);
    for (size_t i = 0; i < FRAMES; i++)
        st[i] = heard_st(s, ((double)i + 0.5) * hop_s);
    fry_silence(&low, hop_s, FRAMES, far_st, st);
    for (size_t i = 0; i < FRAMES; i++) {
        double t = ((double)i + 0.5) * hop_s;
        if (is_between(s, t))
            n += isnan(st[i]) ? 1 : 0;
        else
            assert_float_equal(st[i], heard_st(s, t), 0);
    }
    free(low.x);
    return n;
}

static void test_the_ring_of_pulses_has_no_pitch(void **state)
{
    (void)state;
    assert_int_equal(silenced(&usual), 100);
    scene vowel_u = usual;
    vowel_u.formant_hz = 330;
    assert_int_equal(silenced(&vowel_u), 100);
}

static void test_a_voice_has(void **state)
{
    (void)state;
    scene whistle = usual;
    whistle.pulses = false;
    assert_int_equal(silenced(&whistle), 0);
    whistle.formant_hz = 1200;
    assert_int_equal(silenced(&whistle), 0);
}

/* No voice leaps so far and back; a consonant is heard so. */
static void test_nor_has_what_is_gone_at_once(void **state)
{
    (void)state;
    scene hiss = usual;
    hiss.pulses = false;
    hiss.until_s = 1.08;
    assert_int_equal(silenced(&hiss), 16);
    hiss.until_s = 1.12;
    assert_int_equal(silenced(&hiss), 0);
    hiss.until_s = 1.08;
    hiss.next_st = 57;
    assert_int_equal(silenced(&hiss), 0);
}

static void test_no_farther_than_a_voice_leaps(void **state)
{
    (void)state;
    scene near = usual;
    near.note_st = near.next_st = note_from_hz(near.formant_hz) - far_st + 0.5;
    assert_int_equal(silenced(&near), 0);
    near.note_st = near.next_st = note_from_hz(near.formant_hz) - far_st - 0.5;
    assert_int_equal(silenced(&near), 100);
}

static void test_under_220_hz_a_voice_swings_too(void **state)
{
    (void)state;
    scene low = usual;
    low.note_st = low.next_st = 38;
    low.formant_hz = 210;
    assert_int_equal(silenced(&low), 0);
    low.formant_hz = 230;
    assert_int_equal(silenced(&low), 100);
}

static void test_folds_on_their_way_to_another_note_may_ring(void **state)
{
    (void)state;
    scene brief = usual;
    brief.until_s = 1.08;
    assert_int_equal(silenced(&brief), 16);
    brief.next_st = 57;
    assert_int_equal(silenced(&brief), 0);
    brief.until_s = 1.12;
    assert_int_equal(silenced(&brief), 24);
}

/* The second formant rings 75 ms after the first, and not beside the note; a blip of pitch is no
 * note over which anything rings. */
static void test_rings_lie_beside_rings_and_notes_last(void **state)
{
    (void)state;
    signal low = {.x = xcalloc(SAMPLES, sizeof *low.x), .n = SAMPLES, .rate_hz = RATE_HZ};
    double st[FRAMES];
    scene fry = usual;
    fry.until_s = 2;
    for (size_t i = 0; i < SAMPLES; i++)
        low.x[i] = sample(&fry, (double)i / RATE_HZ);
    for (size_t note = 0; note < 2; note++) {
        for (size_t i = 0; i < FRAMES; i++)
            st[i] = i < 200 ? 50 : note_from_hz(i < 240 ? 700 : 1100);
        for (size_t i = 0; i < (note ? 180U : 191U); i++) /* of 100 or 45 ms */
            st[i] = (double)NAN;
        for (size_t i = 240; i < 255; i++)
            st[i] = (double)NAN;
        fry_silence(&low, hop_s, FRAMES, far_st, st);
        for (size_t i = 200; i < FRAMES; i++)
            assert_true(isnan(st[i]) == (note || (i >= 240 && i < 255)));
    }
    free(low.x);
}

static void test_silence_stays(void **state)
{
    (void)state;
    float x[100] = {0};
    signal low = {.x = x, .n = 100, .rate_hz = RATE_HZ};
    double st[4] = {(double)NAN, (double)NAN, (double)NAN, (double)NAN};
    fry_silence(&low, hop_s, 4, far_st, st);
    for (size_t i = 0; i < 4; i++)
        assert_true(isnan(st[i]));
    st[2] = 60;
    fry_silence(&low, hop_s, 4, far_st, st);
    assert_float_equal(st[2], 60, 0);
    fry_silence(&low, hop_s, 0, far_st, st);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_the_ring_of_pulses_has_no_pitch),
        cmocka_unit_test(test_a_voice_has),
        cmocka_unit_test(test_nor_has_what_is_gone_at_once),
        cmocka_unit_test(test_no_farther_than_a_voice_leaps),
        cmocka_unit_test(test_under_220_hz_a_voice_swings_too),
        cmocka_unit_test(test_folds_on_their_way_to_another_note_may_ring),
        cmocka_unit_test(test_rings_lie_beside_rings_and_notes_last),
        cmocka_unit_test(test_silence_stays),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
