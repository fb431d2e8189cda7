/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What moved, how steady and how far it leaked. Oracles: tracks of closed form whose steadiness,
 * vibrato, slopes and steps are known; a test voice each of two kinds against the truth beside its
 * takes. */
#include "lesson/held.h"
#include "register/decode.h"
#include "voice2/solo.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#define P LESSON_PITCH
#define L LESSON_LEVEL
#define R LESSON_REGISTER

static void close_to(const char *what, double ref, double got, double atol)
{
    printf("%s: %.3f, expected %.3f within %.3f\n", what, got, ref, atol);
    assert_true(fabs(got - ref) <= atol);
}

/* A take of 8 s between half seconds of silence. */
typedef struct plan {
    double slide_st, swell_db;       /* there and back as a raised cosine */
    double drift_cents, waver_cents; /* waver: amplitude at 0.5 Hz */
    double vibrato_cents, vibrato_hz;
    double db_per_octave, cents_per_10_db;
    double leap_cents, step_db; /* in M2, which is sung from 3 to 6 s */
    bool glides;                /* back from its leap, in half a second */
    bool flips;
} plan;

static bool light(const plan *p, double s)
{
    return p->flips && s >= 3 && s < 6;
}

static track *track_make(const plan *p)
{
    track *t = track_new("made", 1800, 0.005, 0);
    for (size_t i = 0; i < t->n; i++) {
        double s = t->time_s[i] - 0.5, way = 0.5 - 0.5 * cos(2 * M_PI * s / 8);
        t->level_db[i] = -80;
        if (s < 0 || s >= 8)
            continue;
        double slide = p->slide_st * way, swell = p->swell_db * way;
        double cents = p->drift_cents * s / 8 + p->waver_cents * sin(M_PI * s) +
                       p->vibrato_cents * sin(2 * M_PI * p->vibrato_hz * s) +
                       p->cents_per_10_db * swell / 10 +
                       (light(p, s) ? p->leap_cents * (p->glides ? exp(-2 * (s - 3)) : 1) : 0);
        t->pitch_st[i] = 60 + slide + cents / 100;
        t->level_db[i] =
            -30 + swell + p->db_per_octave * slide / 12 + (light(p, s) ? p->step_db : 0);
        t->reg[i] = light(p, s) ? 2 : 1;
    }
    return t;
}

static void add_flip(flips *f, const plan *p, double time_s, flip_direction d, double confidence)
{
    double way = d == FLIP_UP ? 1 : -1;
    flips_append(f, (flip){.time_s = time_s,
                           .direction = d,
                           .span_ms = 10,
                           .confidence = confidence,
                           .leap_cents = way * p->leap_cents,
                           .level_step_db = way * p->step_db});
}

static held_score judged(const plan *p, int hold, int vary)
{
    const held_settings s = held_defaults();
    track *t = track_make(p);
    flips f = {0};
    if (p->flips) {
        add_flip(&f, p, 3.5, FLIP_UP, 0.9);
        add_flip(&f, p, 6.5, FLIP_DOWN, 0.9);
    }
    held_score h = held_judge(t, &f, hold, vary, &s);
    flips_clear(&f);
    track_free(t);
    return h;
}

static void test_held_with_vibrato(void **state)
{
    (void)state;
    for (double hz = 4; hz <= 8; hz++) {
        held_score h = judged(&(plan){.vibrato_cents = 100, .vibrato_hz = hz}, P | L | R, 0);
        close_to("cents held with vibrato", 0, h.pitch_steady_cents, 2);
        close_to("dB held with vibrato", 0, h.level_steady_db, 1e-9);
        close_to("vibrato, Hz", hz, h.vibrato_hz, 0.05 * hz);
        close_to("vibrato, cents", 100, h.vibrato_cents, 3);
        assert_int_equal(h.moved, 0);
        assert_int_equal(h.held, P | L | R);
    }
    assert_true(isnan(judged(&(plan){.waver_cents = 30}, P, 0).vibrato_hz));
}

static void test_steadiness(void **state)
{
    (void)state;
    /* Standard deviations of a sine and of a straight line; 0.96 is what the window leaves of 0.5
     * Hz. The ends that are left out shorten the line to 8 - 0.7 s of its 8. */
    plan waver = {.waver_cents = 40, .vibrato_cents = 60, .vibrato_hz = 5.5};
    close_to("waver", 0.96 * 40 / sqrt(2), judged(&waver, P, L).pitch_steady_cents, 2);
    plan drift = {.drift_cents = 80};
    close_to("drift", 80 * 7.3 / 8 / sqrt(12), judged(&drift, P, L).pitch_steady_cents, 0.5);
    plan swell = {.swell_db = 4};
    close_to("swell", 4 / sqrt(8), judged(&swell, L, P).level_steady_db, 0.15);
}

static void test_moved(void **state)
{
    (void)state;
    static const plan plans[] = {
        {.vibrato_cents = 100, .vibrato_hz = 6},
        {.slide_st = 12},
        {.swell_db = 15},
        {.flips = true, .leap_cents = 700, .step_db = -4},
        {.flips = true, .leap_cents = 700, .glides = true},
        {.slide_st = 12, .flips = true, .leap_cents = 300},
        {.swell_db = 15, .flips = true, .leap_cents = 300, .step_db = -8},
    };
    static const int moved[] = {0, P, L, R, R, P | R, L | R};
    for (size_t i = 0; i < sizeof moved / sizeof *moved; i++)
        assert_int_equal(judged(&plans[i], -1, -1).moved, moved[i]);
    /* A leap is no meant motion, but nothing held either. */
    held_score leaping = judged(&plans[3], P | L, R);
    assert_int_equal(leaping.held, L);
    assert_int_equal(leaping.varied, R);
}

static void test_leak(void **state)
{
    (void)state;
    plan slide = {.slide_st = 14, .db_per_octave = 5, .vibrato_cents = 50, .vibrato_hz = 6};
    for (int leaps = 0; leaps < 2; leaps++) {
        slide.flips = leaps;
        slide.leap_cents = leaps ? 300 : 0;
        slide.step_db = leaps ? -6 : 0;
        held_score h = judged(&slide, L, P);
        close_to("dB/octave", 5, h.leak, 0.3);
        assert_int_equal(h.unit, LEAK_DB_PER_OCTAVE);
    }
    held_score swell = judged(&(plan){.swell_db = 20, .cents_per_10_db = 25}, P, L);
    close_to("cents/10 dB", 25, swell.leak, 0.5);
    assert_int_equal(swell.unit, LEAK_CENTS_PER_10_DB);
    plan change = {.flips = true, .leap_cents = 120, .step_db = -3};
    held_score pitch = judged(&change, P, R), level = judged(&change, L, R),
               both = judged(&change, R, P);
    close_to("cents at the flip", 120, pitch.leak, 1e-9);
    close_to("dB at the flip", 3, level.leak, 1e-9);
    close_to("unwanted flips", 2, both.leak, 0);
    assert_int_equal(both.unit, LEAK_FLIPS);
    assert_int_equal(both.held, 0);
    close_to("share", 5.0 / 8, both.register_share, 1e-9);
    /* Neither declared nor alone in moving: nothing to say. */
    assert_true(isnan(judged(&(plan){.slide_st = 12, .swell_db = 20}, -1, -1).leak));
}

static void test_doubtful(void **state)
{
    (void)state;
    const held_settings s = held_defaults();
    plan p = {.slide_st = 9};
    track *t = track_make(&p);
    flips f = {0};
    add_flip(&f, &p, 4, FLIP_UP, 0.3);
    held_score h = held_judge(t, &f, R, P, &s);
    assert_int_equal(h.untold, R);
    assert_int_equal(h.moved, P);
    assert_int_equal(h.held, 0);
    assert_int_equal(h.doubtful, 1);
    assert_int_equal(h.flips, 0);
    flips_clear(&f);
    for (size_t i = 0; i < t->n; i++)
        t->reg[i] = 0;
    h = held_judge(t, &f, -1, -1, &s);
    assert_int_equal(h.untold, R);
    assert_int_equal(h.reg, 0);
    assert_true(isnan(h.register_share));
    track_free(t);
}

/* Several flips that are each doubtful: the register moved where at least one is more likely true
 * than not, 1 - 0.7 * 0.7 = 0.51. */
static void test_doubtful_together(void **state)
{
    (void)state;
    const held_settings s = held_defaults();
    plan p = {.leap_cents = 300};
    track *t = track_make(&p);
    flips f = {0};
    add_flip(&f, &p, 3.5, FLIP_UP, 0.3);
    assert_int_equal(held_judge(t, &f, -1, -1, &s).moved, 0);
    add_flip(&f, &p, 6.5, FLIP_DOWN, 0.3);
    held_score h = held_judge(t, &f, R, P, &s);
    assert_int_equal(h.moved, R);
    assert_int_equal(h.untold | h.held | (int)h.flips, 0);
    flips_clear(&f);
    track_free(t);
}

/* One register that cannot be named stays; without harmonics nothing is told, nor of humming. */
static void test_no_register_named(void **state)
{
    (void)state;
    held_settings s = held_defaults();
    plan p = {.slide_st = 9};
    track *t = track_make(&p);
    flips f = {0};
    memset(t->reg, 0, t->n);
    assert_int_equal(held_judge(t, &f, R, P, &s).untold, R);
    for (size_t i = 0; i < t->n; i++)
        t->harmonic_db[i * TRACK_HARMONICS] = -40;
    held_score h = held_judge(t, &f, R, P, &s);
    assert_int_equal(h.untold, 0);
    assert_int_equal(h.held, R);
    assert_int_equal(h.reg, 0);
    add_flip(&f, &p, 4, FLIP_UP, 0.08);
    assert_int_equal(held_judge(t, &f, R, P, &s).held, R);
    add_flip(&f, &p, 5, FLIP_DOWN, 0.9);
    assert_int_equal(held_judge(t, &f, R, P, &s).moved, P | R);
    s.hummed = held_hummed("m");
    h = held_judge(t, &f, R, P, &s);
    assert_int_equal(h.untold, R);
    assert_int_equal(h.moved, P);
    assert_int_equal(h.flips, 0);
    assert_int_equal(h.doubtful, 2);
    assert_false(held_hummed("") || held_hummed("a"));
    flips_clear(&f);
    track_free(t);
}

/* Five notes of M1, a flip up at 3.5 s alone heard. */
static held_score judged_notes(const double *st, double glide_s)
{
    const held_settings s = held_defaults();
    const plan none = {0};
    track *t = track_make(&none);
    flips f = {0};
    for (size_t i = 0; i < t->n; i++) {
        double at = (t->time_s[i] - 0.5) / 1.5;
        int k = at < 0 ? 0 : at < 4 ? (int)at : 4;
        if (!isnan(t->pitch_st[i]))
            t->pitch_st[i] = 60 + st[k] * exp(-(at - k) * 1.5 / glide_s);
    }
    add_flip(&f, &(plan){.leap_cents = 400}, 3.5, FLIP_UP, 0.9);
    held_score h = held_judge(t, &f, -1, -1, &s);
    flips_clear(&f);
    track_free(t);
    return h;
}

/* Flips on one note, from which the pitch glides back, and a tune of as wide leaps. */
static void test_flips_that_were_not_heard(void **state)
{
    (void)state;
    static const double at_will[] = {0, -4, 4, -4, 4}, tune[] = {0, 4, 7, 4, 12};
    assert_int_equal(judged_notes(at_will, 0.3).moved, R);
    assert_int_equal(judged_notes(tune, 1e9).moved, P | R);
}

static void test_nothing(void **state)
{
    (void)state;
    const held_settings s = held_defaults();
    for (size_t n = 0; n < 400; n += 100) {
        track *t = track_new("nothing", n, 0.005, 0);
        flips f = {0};
        for (size_t i = 0; i < n; i++)
            t->level_db[i] = -INFINITY;
        held_score h = held_judge(t, &f, P, L, &s);
        assert_int_equal(h.untold, LESSON_ALL);
        assert_int_equal(h.moved | h.held | h.varied, 0);
        assert_true(isnan(h.pitch_steady_cents) && isnan(h.leak) && isnan(h.register_share));
        track_free(t);
    }
}

static void test_exercises(void **state)
{
    (void)state;
    int by_held[4] = {0};
    for (size_t i = 0; i < EXERCISES; i++) {
        const exercise *x = &exercises[i];
        assert_int_equal(x->hold & x->vary, 0);
        assert_int_equal(__builtin_popcount((unsigned)x->vary), 1);
        assert_ptr_equal(exercise_find(x->hold, x->vary), x);
        by_held[__builtin_popcount((unsigned)x->hold)]++;
    }
    assert_int_equal(by_held[0], 3);
    assert_int_equal(by_held[1], 6);
    assert_int_equal(by_held[2], 3);
    assert_null(exercise_find(-1, P));
    assert_null(exercise_find(P, P));
}

/* One take alone, all of it declared M1. */
static held_score heard(const sound *x, int hold, int vary)
{
    const held_settings s = held_defaults();
    err e = {""};
    track *t = solo_hear(x, &e);
    if (!t)
        fail_msg("%s", e.text);
    t->declared = DECLARED_M1;
    register_settings r = register_defaults();
    register_summary summary;
    flips f = {0};
    register_decode(&t, 1, &r, &f, &summary);
    held_score h = held_judge(t, &f, hold, vary, &s);
    flips_clear(&f);
    track_free(t);
    return h;
}

/* Tolerances: those of a lesson, 5 cents, 0.5 dB, and leak within 0.3 dB/octave or 10 %, 3
 * cents/10 dB. */
static void compare(const char *who, const held_score *ref, const held_score *got)
{
    printf("%s\n", who);
    assert_int_equal(got->moved, ref->moved);
    assert_int_equal(got->held, ref->held);
    assert_int_equal(got->varied, ref->varied);
    assert_int_equal(got->flips, 0);
    assert_int_equal(got->unit, ref->unit);
    assert_int_equal(isnan(got->pitch_steady_cents), isnan(ref->pitch_steady_cents));
    assert_int_equal(isnan(got->level_steady_db), isnan(ref->level_steady_db));
    if (!isnan(ref->pitch_steady_cents))
        close_to(" cents", ref->pitch_steady_cents, got->pitch_steady_cents, 5);
    if (!isnan(ref->level_steady_db))
        close_to(" dB", ref->level_steady_db, got->level_steady_db, 0.5);
    if (ref->unit == LEAK_DB_PER_OCTAVE)
        close_to(" dB/octave", ref->leak, got->leak, fmax(0.3, 0.1 * fabs(ref->leak)));
    else if (ref->unit == LEAK_CENTS_PER_10_DB)
        close_to(" cents/10 dB", ref->leak, got->leak, 3);
}

/* A hold, a slide, a swell, and a slide that grows louder. */
static void test_both_voices(void **state)
{
    (void)state;
    static const solo_plan asked[] = {
        {SOLO_HOLD, 1, 50, 50, -34, -34, 0, MOUTH_OPEN, 6},
        {SOLO_SLIDE, 1, 50, 62, -34, -34, 0, MOUTH_OPEN, 6},
        {SOLO_SWELL, 1, 50, 50, -34, -20, 0, MOUTH_OPEN, 6},
        {SOLO_SLIDE, 1, 50, 62, -34, -28, 0, MOUTH_OPEN, 6},
    };
    static const int moves[] = {0, P, L, P};
    const held_settings s = held_defaults();
    flips none = {0};
    for (int voice = 1; voice <= 2; voice++) {
        soloist who = soloist_draw(voice, "vibrato", 20 + (uint64_t)voice);
        for (int i = 0; i < 4; i++) {
            int hold = LESSON_ALL & ~moves[i];
            solo take = solo_sing(&who, &asked[i], i);
            held_score ref = held_judge(take.meant, &none, hold, moves[i], &s);
            held_score got = heard(&take.x, hold, moves[i]);
            compare(voice == 1 ? "first voice" : "second voice", &ref, &got);
            solo_clear(&take);
        }
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_held_with_vibrato),
        cmocka_unit_test(test_steadiness),
        cmocka_unit_test(test_moved),
        cmocka_unit_test(test_leak),
        cmocka_unit_test(test_doubtful),
        cmocka_unit_test(test_doubtful_together),
        cmocka_unit_test(test_no_register_named),
        cmocka_unit_test(test_flips_that_were_not_heard),
        cmocka_unit_test(test_nothing),
        cmocka_unit_test(test_exercises),
        cmocka_unit_test(test_both_voices),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
