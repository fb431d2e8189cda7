/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Recordings checked. Oracles: faults planted at known strengths into sessions of both test voices,
 * each of which must be named from the strength that it is said to be named from; the same sessions
 * without a fault, in which none may be; figures against what was planted. */
#include "base/array.h"
#include "sound/weighting.h"
#include "voice/checkup.h"
#include "voice/dice.h"
#include "voice/perform.h"
#include "voice/planted.h"

#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { SESSIONS = 4, RATE = 48000 };

static sound sessions[SESSIONS];

static checkup check_as(const sound *x, int format)
{
    checkup found;
    err e = {""};
    if (!planted_check(x, format, &found, &e))
        fail_msg("%s", e.text);
    return found;
}

static checkup check(const sound *x)
{
    return check_as(x, SF_FORMAT_WAV | SF_FORMAT_PCM_16);
}

static sound copy(const sound *x)
{
    sound y = *x;
    y.samples = xmalloc(y.n, sizeof *y.samples);
    memcpy(y.samples, x->samples, y.n * sizeof *y.samples);
    return y;
}

static int make_sessions(void **state)
{
    static const char *const families[] = {"clear", "vibrato"};
    (void)state;
    for (int i = 0; i < SESSIONS; i++) {
        sessions[i] =
            fault_free_session(1 + i % 2, families[i / 2], 5 + (uint64_t)i, 3, 1.5, 50, RATE);
        planted_scale(&sessions[i], 0.5);
    }
    return 0;
}

static int clear_sessions(void **state)
{
    (void)state;
    for (int i = 0; i < SESSIONS; i++)
        sound_clear(&sessions[i]);
    return 0;
}

static void say(const char *what, double strength, const checkup *found)
{
    printf("%s %g:", what, strength);
    for (int c = 0; c < CHECKS; c++) {
        const char *result = check_result_of(found->of[c].result);
        printf(" %s %s %.3g", check_name_of((check_name)c), result ? result : "-",
               found->of[c].figure);
    }
    printf("\n");
}

static void test_each_fault_is_named(void **state)
{
    (void)state;
    int failed = 0;
    for (size_t f = 0; f < n_planted_faults; f++) {
        const planted *p = &planted_faults[f];
        int named = 0, as = 0;
        for (int i = 0; i < SESSIONS; i++) {
            sound y = copy(&sessions[i]);
            p->by(&y, p->strength);
            checkup found = check(&y);
            check_result result = found.of[p->names].result;
            named += result == CHECK_WARN || result == CHECK_FAIL;
            as += result >= p->as;
            sound_clear(&y);
        }
        printf("%s: %s in %d of %d\n", p->what, check_name_of(p->names), named, SESSIONS);
        failed += as < p->least * SESSIONS;
        if (as < p->least * SESSIONS)
            printf("that is too few: %g at least were to be\n", p->least * SESSIONS);
    }
    assert_int_equal(failed, 0);
}

/* Near the rules of 10 and 15 dB each is told rightly; the softest tone is known to half a dB. */
static void test_noise_and_hum_near_the_rules(void **state)
{
    (void)state;
    int wrong = 0;
    for (size_t f = 0; f < n_planted_near; f++)
        for (int i = 0; i < SESSIONS; i += 3) { /* one of either voice */
            const planted *p = &planted_near[f];
            sound y = copy(&sessions[i]);
            p->by(&y, p->strength);
            checkup found = check(&y);
            const check_row *row = &found.of[p->names];
            printf("%s: %.2f\n", p->what, row->figure);
            wrong += row->result != p->as;
            sound_clear(&y);
        }
    assert_int_equal(wrong, 0);
}

/* No check but those named in `but` (as bits) may warn or fail. */
static void must_pass(const char *what, const checkup *found, unsigned but)
{
    for (int c = 0; c < CHECKS; c++)
        if (found->of[c].result > CHECK_PASS && !(but >> c & 1))
            fail_msg("%s: %s is %g", what, check_name_of((check_name)c), found->of[c].figure);
}

static void test_sessions_without_a_fault_pass(void **state)
{
    (void)state;
    for (int i = 0; i < SESSIONS; i++) {
        checkup found = check(&sessions[i]);
        must_pass("session", &found, 0);
        for (int c = CHECK_VOICE; c <= CHECK_ECHO; c++)
            assert_int_equal(found.of[c].result, CHECK_PASS);
    }
}

/* Only 8 kHz, where the band does end early, is warned of, and that alone. */
static void test_any_rate_and_kind_of_sample(void **state)
{
    (void)state;
    static const int rates[] = {8000, 11025, 16000, 44100, 96000, 192000};
    static const int kinds[] = {SF_FORMAT_PCM_16, SF_FORMAT_PCM_24, SF_FORMAT_FLOAT};
    for (size_t k = 0; k < sizeof rates / sizeof *rates; k++)
        for (int voice = 1; voice <= 2; voice++) {
            sound x = fault_free_session(voice, "clear", 7, 1, 1.5, 50, rates[k]);
            planted_scale(&x, 0.5);
            checkup found = check_as(&x, SF_FORMAT_WAV | kinds[k % 3]);
            char what[64];
            snprintf(what, sizeof what, "voice %d at %d Hz", voice, rates[k]);
            must_pass(what, &found, rates[k] < 12000 ? 1u << CHECK_BAND : 0);
            if (rates[k] == 8000)
                assert_int_equal(found.of[CHECK_BAND].result, CHECK_WARN);
            fault_clip(&x, 3);
            fault_holes(&x, 7, 0.01);
            found = check_as(&x, SF_FORMAT_WAV | kinds[k % 3]);
            say(what, 0, &found);
            assert_int_equal(found.of[CHECK_DROPOUTS].result, CHECK_FAIL);
            if (rates[k] >= 44100) /* below, a peak has too few samples */
                assert_int_equal(found.of[CHECK_CLIPPING].result, CHECK_FAIL);
            sound_clear(&x);
        }
}

/* Closed form: a tone of known level that stops, in white noise of known level, DC and all. */
static void test_figures(void **state)
{
    (void)state;
    sound x = {.n = 12 * RATE, .rate_hz = RATE};
    x.samples = xcalloc(x.n, sizeof *x.samples);
    double worst = 0;
    for (double under = 20; under <= 60; under += 10) {
        gsl_rng *r = dice_new(1, 1, DICE_ROOM);
        for (size_t i = 0; i < x.n; i++) {
            double t = (double)i / RATE;
            bool on = t > 3 && t < 8;
            x.samples[i] = on ? 0.3 * sin(2 * M_PI * 500 * t) : 0;
            /* White noise has 2.7 dB less in C than in all at this rate: measured below. */
            x.samples[i] += dice_normal(r, 0.3 * M_SQRT1_2 * pow(10, -under / 20)) + 0.03;
        }
        gsl_rng_free(r);
        checkup found = check_as(&x, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
        double power = 0;
        for (int f = 1; f < RATE / 2; f++)
            power += pow(10, weighting_db(WEIGHTING_C, f) / 10) / (RATE / 2);
        double want = 10 * log10(1 + pow(10, under / 10) / power);
        worst = fmax(worst, fabs(found.of[CHECK_NOISE].figure - want));
        assert_true(fabs(found.of[CHECK_DC].figure - 3) < 0.01);
        assert_true(fabs(found.of[CHECK_VOICE].figure - 5) < 0.1);
    }
    printf("noise of a tone in white noise: at most %.2f dB off\n", worst);
    assert_true(worst < 0.5);
    sound_clear(&x);
}

/* A plain decay of 60 dB in t s after a tone has just that figure, room or not. */
static void test_decay(void **state)
{
    (void)state;
    sound x = {.n = 16 * RATE, .rate_hz = RATE};
    x.samples = xcalloc(x.n, sizeof *x.samples);
    double worst = 0;
    for (double t60 = 0.3; t60 < 1.3; t60 += 0.2) {
        for (size_t i = 0; i < x.n; i++) {
            double t = (double)i / RATE, since = fmod(t, 4) - 2;
            double size = since < -1 ? 0 : since < 0 ? 1 : 0.5 * pow(10, -3 * since / t60);
            x.samples[i] = 0.2 * size * (sin(2 * M_PI * 300 * t) + 0.5 * sin(2 * M_PI * 600 * t));
        }
        checkup found = check_as(&x, SF_FORMAT_WAV | SF_FORMAT_FLOAT);
        worst = fmax(worst, fabs(found.of[CHECK_ECHO].figure / t60 - 1));
        printf("%.1f s: %.2f s\n", t60, found.of[CHECK_ECHO].figure);
    }
    assert_true(worst <
                0.12); /* the 6 dB of direct sound are within the first 5 but for the smear */
    sound_clear(&x);
}

/* Seven harmonics, 6 dB an octave down, from 1 to 7 s. */
static void add_held(sound *x, double hz, double size)
{
    for (size_t i = 0; i < x->n; i++) {
        double t = (double)i / x->rate_hz;
        double on = fmax(0, fmin(1, fmin(t - 1, 7 - t) * 10));
        for (int h = 1; h <= 7; h++)
            x->samples[i] += size * on * sin(2 * M_PI * hz * h * t) / h;
    }
}

/* Two held tones at once, the second from a semitone to a seventh higher, a fifth left out, whose
 * period both tones share. */
static void test_two_held_tones(void **state)
{
    (void)state;
    static const int intervals[] = {1, 3, 4, 6, 8, 9, 10};
    for (int db = -20; db <= 0; db += 10) {
        int named = 0;
        for (size_t k = 0; k < 7; k++) {
            sound x = {.n = 8 * RATE, .rate_hz = RATE};
            x.samples = xcalloc(x.n, sizeof *x.samples);
            add_held(&x, 220, 0.1);
            add_held(&x, 220 * pow(2, intervals[k] / 12.0), 0.1 * pow(10, db / 20.0));
            checkup found = check(&x);
            named += found.of[CHECK_TWO_VOICES].result > CHECK_PASS;
            sound_clear(&x);
        }
        printf("second tone at %d dB: named in %d of 7 intervals\n", db, named);
        assert_true(named >= 6);
    }
}

static sound sung(family f, uint64_t seed, score_kind kind, double st)
{
    singer who = singer_draw(f, seed);
    who.rate_hz = RATE;
    score sc = {.kind = kind, .seconds = 6, .from_st = st, .to_st = st, .held = 1};
    sc.to_st += kind == SCORE_SLIDE ? 7 : 0;
    sc.level_db = sc.to_db = who.boundary.level_db;
    performance p = perform(&who, &sc, 0);
    sound x = sing(&who, &p, 0);
    performance_clear(&p);
    return x;
}

/* Two singers at once, equally loud, one on a note, the other on a note or a slide beside it; and
 * each of them alone, who must pass. */
static void test_two_singers(void **state)
{
    (void)state;
    static const family families[] = {FAMILY_CLEAR,   FAMILY_SMOOTH,  FAMILY_VOWEL_O,
                                      FAMILY_BREATHY, FAMILY_VOWEL_I, FAMILY_WOMAN};
    static const int intervals[] = {3, 4, 5, 8, 9, 10};
    int named = 0;
    for (int k = 0; k < 6; k++) {
        sound x = sung(families[k], 3, k % 2 ? SCORE_SLIDE : SCORE_HOLD, 50 + k);
        sound y = sung(families[(k + 1) % 6], 4, SCORE_HOLD, 50 + k + intervals[k]);
        fault_noise(&x, sound_rms(&x) * 0.003, 1);
        checkup alone = check(&x);
        assert_true(alone.of[CHECK_TWO_VOICES].result <= CHECK_PASS);
        fault_other(&x, &y, 0);
        checkup both = check(&x);
        printf("%d semitones apart: %.0f %%\n", intervals[k], both.of[CHECK_TWO_VOICES].figure);
        named += both.of[CHECK_TWO_VOICES].result > CHECK_PASS;
        sound_clear(&x);
        sound_clear(&y);
    }
    assert_true(named == 6);
}

static void test_nothing_to_judge(void **state)
{
    (void)state;
    static const size_t lengths[] = {1, 100, RATE / 10, 3 * RATE};
    sound x = {.n = 3 * RATE, .rate_hz = RATE};
    x.samples = xcalloc(x.n, sizeof *x.samples);
    for (size_t k = 0; k < 4; k++) {
        x.n = lengths[k];
        checkup found = check(&x);
        assert_int_equal(found.of[CHECK_VOICE].result, CHECK_FAIL);
        for (int c = 0; c < CHECKS; c++) {
            const check_row *row = &found.of[c];
            assert_true((row->result == CHECK_PASS) == (row->remedy == NULL));
            assert_true((row->result == CHECK_NONE) == isnan(row->figure));
        }
        assert_int_equal(found.of[CHECK_NOISE].result, CHECK_NONE);
        assert_int_equal(found.of[CHECK_TWO_VOICES].result, CHECK_NONE);
    }
    sound_clear(&x);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_nothing_to_judge),
        cmocka_unit_test(test_figures),
        cmocka_unit_test(test_decay),
        cmocka_unit_test(test_two_held_tones),
        cmocka_unit_test(test_two_singers),
        cmocka_unit_test(test_sessions_without_a_fault_pass),
        cmocka_unit_test(test_each_fault_is_named),
        cmocka_unit_test(test_noise_and_hum_near_the_rules),
        cmocka_unit_test(test_any_rate_and_kind_of_sample),
    };
    return cmocka_run_group_tests(tests, make_sessions, clear_sessions);
}
