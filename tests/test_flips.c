/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The figures of a flip. Oracles: closed forms; ramps, steps and pulses that were put in. */
#include "base/array.h"
#include "base/note.h"
#include "register/explain.h"
#include "register/figures.h"
#include "register/refine.h"
#include "register/seam.h"
#include "register/trust.h"
#include "voice/cycles.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { FRAMES = 200 }; /* a second */
static const double hop_s = 0.005, flip_s = 0.502;

static void close_to(const char *what, double want, double got, double tolerance)
{
    print_message("%s: %.4g, want %.4g within %.3g\n", what, got, want, tolerance);
    if (!(fabs(got - want) <= tolerance))
        fail_msg("%s: %.6g instead of %.6g", what, got, want);
}

/* -1..1 */
static double jitter(uint32_t *dice)
{
    *dice = *dice * 1664525u + 1013904223u;
    return (*dice >> 8) / 8388608.0 - 1;
}

/* One stretch of voice in a single take, with a flip into M2 at flip_s. */
typedef struct made {
    track *t;
    evidence *ev;
    model m;
    saying says[FRAMES];
    double time_s[FRAMES];
    size_t at; /* first frame of M2 */
} made;

static double ramp(double t, double span_s)
{
    return 0.5 * (1 + erf(1.8124 * (t - flip_s) / span_s));
}

/* A slide of slide_st a second that leaps, with vibrato of vibrato_st to each side; a level that
 * steps; a coordinate from -0.5 to 0.5. */
static void make_with(made *x, double span_s, double slide_st, double leap_st, double step_db,
                      double vibrato_st, double phase)
{
    uint32_t dice = 11;
    *x = (made){.t = track_new("made", FRAMES, hop_s, 0), .m = {.hi = 4, .pitch_mid = 60}};
    for (int h = 0; h < HARMONICS; h++)
        x->m.sigma[h * HARMONICS + h] = 1;
    x->m.beta[MODEL_D] = 6;
    for (size_t i = 0; i < FRAMES; i++) {
        double t = x->time_s[i] = (double)i * hop_s, in_m2 = ramp(t, span_s);
        x->t->pitch_st[i] =
            60 + slide_st * t + leap_st * in_m2 + vibrato_st * sin(2 * M_PI * 5.5 * t + phase);
        x->t->level_db[i] = -30 + step_db * in_m2;
        for (int h = 0; h < 4; h++) {
            x->t->harmonic_db[i * HARMONICS + (size_t)h] = -40;
            x->t->noise_db[i * HARMONICS + (size_t)h] = -90;
        }
        double mass = 20;
        x->says[i] = (saying){mass * (in_m2 - 0.5 + 0.2 * jitter(&dice)), mass, 1};
        x->at = t < flip_s ? i + 1 : x->at;
    }
    x->ev = evidence_new(&x->t, 1);
}

static void make(made *x, double span_s, double slide_st, double leap_st, double step_db)
{
    make_with(x, span_s, slide_st, leap_st, step_db, 0, 0);
}

static void made_clear(made *x)
{
    evidence_free(x->ev);
    track_free(x->t);
}

/* A leap places the flip wherever the chain has it; without one the chain's place is hardly moved,
 * and has to be right. */
static void test_place_and_span_of_a_ramp(void **state)
{
    (void)state;
    static const double spans_s[] = {0.02, 0.06, 0.12, 0.2}, leaps_st[] = {5, 5, 0, 0};
    for (int k = 0; k < 4; k++)
        for (int off = -8; off <= 8; off += 8) { /* the chain is 40 ms early, right or late */
            if (off && leaps_st[k] == 0)
                continue;
            made x;
            make(&x, spans_s[k], 0, leaps_st[k], 0);
            size_t at = (size_t)((long)x.at + off);
            refined r = refine_flip(x.ev, x.time_s, x.says, 0, FRAMES - 1, at, true);
            print_message("span %.0f ms, chain off by %d ms: ", 1000 * spans_s[k], 5 * off);
            close_to("time, ms", 1000 * flip_s, 1000 * r.time_s, 3);
            close_to("octaves of span", 0, log2(r.span_ms / 1000 / spans_s[k]), 0.6);
            made_clear(&x);
        }
}

/* Where the harmonics tell little a leap beside vibrato is placed by the leap, not by a turn of the
 * vibrato. */
static void test_place_beside_vibrato(void **state)
{
    (void)state;
    for (int phase = 0; phase < 6; phase++) {
        made x;
        make_with(&x, 0.1, -3, 2, 0, 1.2, phase);
        for (size_t i = 0; i < FRAMES; i++)
            x.says[i] = (saying){x.says[i].z / 20, 1, 1};
        refined r = refine_flip(x.ev, x.time_s, x.says, 0, FRAMES - 1, x.at, true);
        print_message("phase %d: ", phase);
        close_to("time, ms", 1000 * flip_s, 1000 * r.time_s, 30);
        made_clear(&x);
    }
}

/* The mouth is shut from 200 to 112 ms before the flip, and the note before lay 4 semitones lower;
 * with or without voice meanwhile. */
static void shut_the_mouth(made *x, bool silent)
{
    size_t left = 0;
    for (size_t i = 0; i < FRAMES; i++) {
        bool shut = x->time_s[i] > flip_s - 0.2 && x->time_s[i] < flip_s - 0.112;
        x->t->pitch_st[i] -= shut || x->time_s[i] < flip_s - 0.15 ? 4 : 0;
        x->t->level_db[i] -= shut ? 25 : 0;
        if (shut && silent) {
            x->t->pitch_st[i] = (double)NAN;
            continue;
        }
        x->at = i == x->at ? left : x->at;
        x->says[left] = x->says[i];
        x->time_s[left++] = x->time_s[i];
    }
    evidence_free(x->ev);
    x->ev = evidence_new(&x->t, 1);
    assert_int_equal(x->ev->n, left);
}

/* Levels and pitches that step at a consonant do not draw a flip there. */
static void test_place_beside_a_consonant(void **state)
{
    (void)state;
    for (int silent = 0; silent < 2; silent++) {
        made x;
        make(&x, 0.06, 0, 2, 0);
        for (size_t i = 0; i < FRAMES; i++)
            x.says[i] = (saying){x.says[i].z / 20, 1, 1};
        shut_the_mouth(&x, silent);
        refined r = refine_flip(x.ev, x.time_s, x.says, 0, x.ev->n - 1, x.at - 6, true);
        close_to(silent ? "time after a hole, ms" : "time, ms", 1000 * flip_s, 1000 * r.time_s, 10);
        made_clear(&x);
    }
}

/* A voice that falls by 15 dB just before it flips, and stays there, has not shut its mouth. */
static void test_place_of_a_fall(void **state)
{
    (void)state;
    made x;
    make(&x, 0.02, 0, 5, 0);
    for (size_t i = 0; i < FRAMES; i++)
        x.t->level_db[i] -= x.time_s[i] < flip_s - 0.04 ? 0 : 15;
    evidence_free(x.ev);
    x.ev = evidence_new(&x.t, 1);
    refined r = refine_flip(x.ev, x.time_s, x.says, 0, FRAMES - 1, x.at - 16, true);
    close_to("time, ms", 1000 * flip_s, 1000 * r.time_s, 10);
    made_clear(&x);
}

/* The slide about a leap is told where it goes on the same way on both sides. */
static void test_slide_about_a_leap(void **state)
{
    (void)state;
    static const double slides[] = {3, 0, -3}, want[] = {3, 0, 0};
    for (int k = 0; k < 3; k++) {
        made x;
        make(&x, 0.06, slides[k], 6, 0);
        double slide = 0;
        for (size_t i = 0; i < FRAMES; i++)
            slide = x.ev->leap_st[i] > 3 ? x.ev->slide[i] : slide;
        close_to("slide, st/s", want[k], slide, 0.1);
        made_clear(&x);
    }
}

/* Against the same 25 ms of the ramp itself, its middle 2 ms from a frame. */
static void test_kink_of_a_leap(void **state)
{
    (void)state;
    static const double spans_s[] = {0.02, 0.04, 0.06, 0.09}, part_s = 0.025;
    for (int k = 0; k < 4; k++)
        for (double slide = 0; slide <= 3; slide += 3) {
            made x;
            make(&x, spans_s[k], slide, 6, 0);
            double inner = 2 * ramp(flip_s + part_s / 2, spans_s[k]) - 1;
            double all = 2 * ramp(flip_s + 1.5 * part_s, spans_s[k]) - 1, kink = (double)NAN;
            for (size_t i = 0; i < FRAMES; i++)
                kink = x.ev->leap_st[i] > 3 ? x.ev->kink[i] : kink;
            close_to("kink", 1.5 * inner - 0.5 * all, kink, 0.03);
            made_clear(&x);
        }
}

/* Without evidence the chain's border stands. */
static void test_nothing_to_go_by(void **state)
{
    (void)state;
    made x;
    make(&x, 0.02, 0, 0, 0);
    for (size_t i = 0; i < FRAMES; i++)
        x.says[i] = (saying){0, 0, 0};
    refined r = refine_flip(x.ev, x.time_s, x.says, 0, FRAMES - 1, 100, false);
    close_to("time, ms", 497.5, 1000 * r.time_s, 0.1);
    r = refine_flip(x.ev, x.time_s, x.says, 100, 100, 100, false);
    close_to("a single frame's time, ms", 500, 1000 * r.time_s, 0.1);
    assert_true(isnan(r.span_ms));
    made_clear(&x);
}

static flip measured(const made *x)
{
    figures_of of = {x->ev, &x->t, &x->m, x->says, x->time_s, NULL};
    return figures_measure(&of, 0, FRAMES - 1, x->at, FLIP_UP, NULL);
}

/* The trend of the slide is in after less before, and not in the leap. D is 6 dB of the first
 * harmonic alone, so that a step of one register is 6 dB of it over the others. */
static void test_steps_are_beyond_the_trend(void **state)
{
    (void)state;
    made x;
    make(&x, 0.02, 4, 3, -2);
    x.t->irregular[99] = 2;
    x.t->irregular[101] = 1;
    x.t->irregular[110] = 5; /* too far */
    flip f = measured(&x);
    double apart_s = 0.05 + f.span_ms / 1000;
    /* The outer tenths of the change lie beyond the span: some 3 % of the leap. */
    close_to("leap, cents", 300, f.leap_cents, 12);
    close_to("after less before, st", 3 + 4 * apart_s, f.pitch_after_st - f.pitch_before_st, 0.12);
    close_to("step of level, dB", -2, f.level_step_db, 0.1);
    close_to("spectral step, dB", 6, f.spectral_step_db, 0.6);
    assert_int_equal(f.irregular_cycles, 3);
    close_to("seam", seam_of(&f), f.seam_jnd, 1e-12);
    made_clear(&x);
}

/* The squares of 3, 4 and 12 JND, at once, give 13; 27 cycles more give the root of 196. Half of a
 * change falls within 100 ms where 1.8124 * 50 / span = erfinv(0.5) = 0.4769363. */
static void test_seam_is_its_formula(void **state)
{
    (void)state;
    flip f = {.leap_cents = -30, .level_step_db = 4, .spectral_step_db = 12 * 3.2, .span_ms = 1};
    close_to("at once", 13, seam_of(&f), 1e-9);
    f.irregular_cycles = 27;
    close_to("with cycles", 14, seam_of(&f), 1e-9);
    f.irregular_cycles = 0;
    f.span_ms = 1.8124 * 50 / 0.4769362762;
    close_to("half of it at once", 6.5, seam_of(&f), 1e-6);
    f.leap_cents = (double)NAN;
    assert_true(isnan(seam_of(&f)));
}

static void test_seam_of_takes_is_the_median_of_asserted(void **state)
{
    (void)state;
    flips found[2] = {{.n = 0}, {.n = 0}};
    assert_true(isnan(seam_median(found, 2)));
    flips_append(&found[0], (flip){.confidence = 0.9, .seam_jnd = 4});
    flips_append(&found[0], (flip){.confidence = 0.4, .seam_jnd = 100});
    flips_append(&found[1], (flip){.confidence = 0.5, .seam_jnd = 10});
    flips_append(&found[1], (flip){.confidence = 1, .seam_jnd = (double)NAN});
    flips_append(&found[1], (flip){.confidence = 0.8, .seam_jnd = 5});
    close_to("median", 5, seam_median(found, 2), 0);
    flips_clear(&found[0]);
    flips_clear(&found[1]);
}

static double row_value(const explanation *why, explain_about about, const char *item, double at)
{
    for (size_t i = 0; i < why->n; i++)
        if (why->rows[i].about == about && strcmp(why->rows[i].item, item) == 0 &&
            (isnan(at) || why->rows[i].at == at))
            return why->rows[i].value;
    fail_msg("there is no row %s", item);
    return 0;
}

/* Explains the made flip with M2 named as it is, or with the names exchanged. */
static void explain(made *x, bool exchanged, explanation *why)
{
    double p2[FRAMES], sign = exchanged ? -1 : 1;
    for (size_t i = 0; i < FRAMES; i++) {
        p2[i] = (i >= x->at) != exchanged ? 0.99 : 0.01;
        x->says[i].z *= sign;
    }
    for (int h = 0; h < HARMONICS; h++)
        x->m.beta[MODEL_D + h] *= sign;
    world w = {.m = x->m, .where = {60, 0, 0.5, 0}, .gain = 42, .p2 = p2, .says = x->says};
    figures_of of = {x->ev, &x->t, &x->m, x->says, x->time_s, NULL};
    flips found = {.n = 0};
    flips_append(&found,
                 figures_measure(&of, 0, FRAMES - 1, x->at, exchanged ? FLIP_DOWN : FLIP_UP, NULL));
    found.items[0].confidence = 0.9;
    explain_world(&of, 1, &w, &found, why);
    flips_clear(&found);
}

/* D is 6 dB of the first harmonic alone: 5.25 over the mean of eight. Its prior is 4 dB and its
 * weight 0.05: 2 * 0.05 * 6 * 4 nats. Names exchanged, the cues of the names change sign. */
static void test_explained(void **state)
{
    (void)state;
    made x;
    explanation why = {.n = 0}, other = {.n = 0};
    make(&x, 0.02, 0, 5, -2);
    explain(&x, false, &why);
    close_to("M2 less M1, dB", 5.25, row_value(&why, EXPLAIN_SOURCE, "M2 less M1", 1), 1e-9);
    close_to("M2 less M1 by itself, dB", 5.25,
             row_value(&why, EXPLAIN_SOURCE, "M2", 1) - row_value(&why, EXPLAIN_SOURCE, "M1", 1),
             1e-9);
    close_to("gain", 42, row_value(&why, EXPLAIN_REGISTERS, "two over one", (double)NAN), 0);
    close_to("source", 2.4, row_value(&why, EXPLAIN_NAMING, "source", (double)NAN), 1e-9);
    /* The nats of a flip are all of its log odds. */
    double sum = 0, nats[TRUST_TERMS], cues_of_none[CUES] = {0};
    for (size_t i = 0; i < why.n; i++)
        if (why.rows[i].about == EXPLAIN_FLIP && strcmp(why.rows[i].unit, "nats") == 0)
            sum += why.rows[i].value;
    close_to("log odds", trust_weigh(cues_of_none, nats), sum, 1e-9);
    close_to("confidence", 0.9, row_value(&why, EXPLAIN_FLIP, "confidence", (double)NAN), 0);
    explain(&x, true, &other);
    static const char *const cues[] = {"pitch and level", "leaps", "source"};
    for (int k = 0; k < 3; k++) {
        double as_named = row_value(&why, EXPLAIN_NAMING, cues[k], (double)NAN);
        assert_true(as_named > 0);
        close_to(cues[k], -as_named, row_value(&other, EXPLAIN_NAMING, cues[k], (double)NAN), 0.05);
    }
    explanation_clear(&why);
    explanation_clear(&other);
    made_clear(&x);
}

/* Pulses that ring at 700 Hz, one a period; the period of cycle k is its pitch's times 1 +
 * stretched[k], its height 10^(louder_db[k] / 20). Returns how many irregular cycles are heard. */
static int count_cycles(double from_st, double to_st, const double *stretched,
                        const double *louder_db, size_t n)
{
    enum { RATE = 16000, LENGTH = RATE };
    signal x = {.rate_hz = RATE, .n = LENGTH, .x = xcalloc(LENGTH, sizeof(float)), .seconds = 1};
    double pitch_st[FRAMES], t = 0.0105;
    unsigned char irregular[FRAMES];
    int heard = 0;
    for (size_t k = 0; t < 0.99; k++) {
        double height = k < n ? pow(10, louder_db[k] / 20) : 1;
        for (int i = (int)ceil(t * RATE); i < LENGTH && i < (t + 0.03) * RATE; i++) {
            double since = i / (double)RATE - t;
            x.x[i] += (float)(0.3 * height * exp(-400 * since) * sin(2 * M_PI * 700 * since));
        }
        double st = from_st + (to_st - from_st) * t;
        t += (1 + (k < n ? stretched[k] : 0)) / note_to_hz(st);
    }
    for (size_t i = 0; i < FRAMES; i++)
        pitch_st[i] = from_st + (to_st - from_st) * (double)i * hop_s;
    cycles_measure(&x, hop_s, FRAMES, pitch_st, irregular);
    for (size_t i = 0; i < FRAMES; i++)
        heard += irregular[i];
    free(x.x);
    return heard;
}

static void test_irregular_cycles_are_counted(void **state)
{
    (void)state;
    enum { N = 200 };
    double none[N] = {0}, long_one[N] = {0}, loud[N] = {0}, usual[N];
    uint32_t dice = 5;
    for (int k = 0; k < N; k++)
        usual[k] = 0.008 * jitter(&dice);
    assert_int_equal(count_cycles(55, 55, none, none, N), 0);
    assert_int_equal(count_cycles(50, 62, none, none, N), 0);
    assert_int_equal(count_cycles(55, 57, usual, none, N), 0);
    long_one[60] = 0.12;
    long_one[90] = -0.12;
    int heard = count_cycles(55, 57, long_one, none, N);
    print_message("two cycles long or short: %d\n", heard);
    assert_int_equal(heard, 2);
    loud[50] = 5;
    heard = count_cycles(55, 55, none, loud, N);
    print_message("one loud cycle: %d\n", heard);
    assert_int_equal(heard, 1);
}

static void test_cycles_without_voice(void **state)
{
    (void)state;
    float silence[800] = {0};
    signal x = {.rate_hz = 16000, .n = 800, .x = silence, .seconds = 0.05};
    double pitch_st[10];
    unsigned char irregular[10];
    for (int i = 0; i < 10; i++)
        pitch_st[i] = (double)NAN;
    cycles_measure(&x, hop_s, 10, pitch_st, irregular);
    for (int i = 0; i < 10; i++)
        assert_int_equal(irregular[i], 0);
    for (int i = 0; i < 10; i++)
        pitch_st[i] = 60; /* a pitch, and digital silence */
    cycles_measure(&x, hop_s, 10, pitch_st, irregular);
    cycles_measure(&x, hop_s, 0, NULL, irregular);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_place_and_span_of_a_ramp),
        cmocka_unit_test(test_place_beside_vibrato),
        cmocka_unit_test(test_place_beside_a_consonant),
        cmocka_unit_test(test_place_of_a_fall),
        cmocka_unit_test(test_slide_about_a_leap),
        cmocka_unit_test(test_kink_of_a_leap),
        cmocka_unit_test(test_nothing_to_go_by),
        cmocka_unit_test(test_steps_are_beyond_the_trend),
        cmocka_unit_test(test_seam_is_its_formula),
        cmocka_unit_test(test_seam_of_takes_is_the_median_of_asserted),
        cmocka_unit_test(test_explained),
        cmocka_unit_test(test_irregular_cycles_are_counted),
        cmocka_unit_test(test_cycles_without_voice),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
