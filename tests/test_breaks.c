/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Sudden steps of pitch and level. Oracles: curves whose steps are put in by hand. */
#include "register/breaks.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

enum { FRAMES = 400, AT = 200 };
static const double hop_s = 0.005, pi = 3.14159265358979;

/* Two seconds on a slide of `slide` semitones a second with a vibrato 5.5 times a second, `wide`
 * semitones to either side; then a step of each curve on entering frame AT. */
static evidence *sung(double slide, double wide, double step_st, double step_db)
{
    evidence *ev = evidence_alloc(FRAMES);
    for (size_t i = 0; i < FRAMES; i++) {
        double t = hop_s * (double)i;
        ev->take[i] = 0;
        ev->frame[i] = i;
        ev->gap_s[i] = i ? hop_s : INFINITY;
        ev->edge_s[i] = fmin(t, hop_s * (FRAMES - 1) - t);
        ev->pitch_st[i] = 60 + slide * t + wide * sin(2 * pi * 5.5 * t) + (i < AT ? 0 : step_st);
        ev->level_db[i] = 2 * sin(2 * pi * 0.7 * t) + (i < AT ? 0 : step_db);
    }
    breaks_measure(ev, 0, FRAMES - 1);
    return ev;
}

static size_t largest(const double *x)
{
    size_t best = 0;
    for (size_t i = 0; i < FRAMES; i++)
        best = fabs(x[i]) > fabs(x[best]) ? i : best;
    return best;
}

static void test_small_steps_stand_out(void **state)
{
    (void)state;
    evidence *ev = sung(2, 0, 0.3, -2);
    size_t pitch = largest(ev->pitch_break), level = largest(ev->level_break);
    print_message("pitch %.2f at %zu, level %.2f at %zu\n", ev->pitch_break[pitch], pitch,
                  ev->level_break[level], level);
    assert_in_range(pitch, AT - 2, AT + 2);
    assert_true(ev->pitch_break[pitch] > 2);
    assert_in_range(level, AT - 2, AT + 2);
    assert_true(ev->level_break[level] < -2);
    evidence_free(ev);
}

static void test_slides_swells_and_vibrato_are_no_steps(void **state)
{
    (void)state;
    const double slides[] = {0, 2, 20, 20}, wide[] = {0, 0.5, 1, 0};
    for (int k = 0; k < 4; k++) {
        evidence *ev = sung(slides[k], wide[k], 0, 0);
        double pitch = fabs(ev->pitch_break[largest(ev->pitch_break)]);
        double level = fabs(ev->level_break[largest(ev->level_break)]);
        print_message("pitch %.2f, level %.2f\n", pitch, level);
        assert_true(pitch < 1);
        assert_true(level < 1);
        evidence_free(ev);
    }
}

/* Where a step of the pitch is likeliest, from 50 ms before frame AT on; the nats for it. */
static double likeliest(const evidence *ev, const double *time_s, double *best)
{
    enum { PLACES = 101 };
    double nats[PLACES], place = 0;
    ramp r;
    ramp_fill(&r);
    motion m = motion_new(BREAKS_OF_PITCH, ev, time_s, AT - 50, AT + 50, time_s[AT - 10], 0);
    motion_says(&m, BREAKS_OF_PITCH, &r, 0.006, -0.1, PLACES, nats);
    *best = -INFINITY;
    for (int k = 0; k < PLACES; k++) {
        place = nats[k] > *best ? -0.1 + MOTION_STEP_S * k : place;
        *best = fmax(*best, nats[k]);
    }
    motion_clear(&m);
    return place;
}

static void test_a_step_is_likeliest_where_it_is(void **state)
{
    (void)state;
    evidence *ev = sung(2, 0.3, 0.7, 0);
    double time_s[FRAMES], best;
    for (size_t i = 0; i < FRAMES; i++)
        time_s[i] = hop_s * (double)i;
    double place = likeliest(ev, time_s, &best);
    assert_true(fabs(place - 0.0475) < 0.004);
    assert_true(best > 3);
    evidence_free(ev);
}

/* The voice cracks for three frames as it steps: of eight, the step is not theirs. */
static void test_a_step_in_a_hole_counts(void **state)
{
    (void)state;
    for (size_t hole = 3; hole <= 8; hole += 5) {
        evidence *ev = sung(2, 0.3, 3, 0);
        double time_s[FRAMES], best;
        for (size_t i = 0; i < FRAMES; i++)
            time_s[i] = hop_s * (double)(i < AT ? i : i + hole);
        double place = likeliest(ev, time_s, &best);
        print_message("hole of %zu frames: at %.3f s, %.1f nats\n", hole, place, best);
        if (hole == 3)
            assert_true(fabs(place - 0.055) < 0.008);
        assert_true((hole == 3) == (best > 3));
        evidence_free(ev);
    }
}

static void test_too_little_voice_says_nothing(void **state)
{
    (void)state;
    evidence *ev = evidence_alloc(1);
    ev->take[0] = ev->frame[0] = 0;
    ev->gap_s[0] = INFINITY;
    ev->edge_s[0] = ev->level_db[0] = 0;
    ev->pitch_st[0] = 60;
    breaks_measure(ev, 0, 0);
    assert_true(ev->pitch_break[0] == 0);
    assert_true(ev->level_break[0] == 0);
    evidence_free(ev);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_small_steps_stand_out),
        cmocka_unit_test(test_slides_swells_and_vibrato_are_no_steps),
        cmocka_unit_test(test_a_step_is_likeliest_where_it_is),
        cmocka_unit_test(test_a_step_in_a_hole_counts),
        cmocka_unit_test(test_too_little_voice_says_nothing),
    };
    return cmocka_run_group_tests_name("breaks", tests, NULL, NULL);
}
