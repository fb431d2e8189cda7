/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Trills of lips and tongue. Oracles: a tone whose level swings at a known rate and depth; trilled
 * takes of both test voices, whose pitch is known, beside the same takes with an open mouth. */
#include "base/array.h"
#include "voice/trill.h"
#include "voice2/solo.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

#include "heard_singer.h"

enum { RATE = 16000, SECONDS = 4, FRAMES = 200 * SECONDS, CELL = RATE / 1000 };

/* A tone of 150 Hz whose level swings by so many dB to either side from 1 to 3 s. */
static signal swinging(double hz, double db)
{
    signal x = {.rate_hz = RATE, .n = RATE * SECONDS, .cell_s = 0.001, .n_cells = 1000 * SECONDS};
    x.x = xmalloc(x.n, sizeof *x.x);
    x.power = xcalloc(x.n_cells, sizeof *x.power);
    for (size_t i = 0; i < x.n; i++) {
        double t = (double)i / RATE, swing = t > 1 && t < 3 ? db * sin(2 * M_PI * hz * t) : 0;
        x.x[i] = (float)(0.1 * pow(10, swing / 20) * sin(2 * M_PI * 150 * t));
        x.power[i / CELL] += x.x[i] * x.x[i] / CELL;
    }
    return x;
}

static void test_what_is_a_trill(void **state)
{
    (void)state;
    for (double hz = 4; hz <= 60; hz *= 1.25) {
        unsigned char trilled[FRAMES];
        signal x = swinging(hz, 10);
        bool any = trill_find(&x, 0.005, FRAMES, trilled);
        size_t n = 0;
        for (size_t i = 0; i < FRAMES; i++)
            n += trilled[i];
        printf("swings of %.1f Hz: %.2f s are a trill\n", hz, (double)n * 0.005);
        assert_int_equal(any, n > 0);
        if (hz > 19 && hz < 30) /* 2 s and at most a window and what is beside them at either end */
            assert_true(n >= 390 && n <= 400 + 2 * (60 + 30));
        if (hz < 13 || hz > 45)
            assert_int_equal(n, 0);
        signal_clear(&x);
    }
    unsigned char trilled[FRAMES];
    signal x = swinging(25, 1);
    assert_false(trill_find(&x, 0.005, FRAMES, trilled)); /* 1 dB is within what voices do */
    signal_clear(&x);
    signal none = {.rate_hz = RATE, .cell_s = 0.001};
    assert_false(trill_find(&none, 0.005, 0, trilled));
}

/* A tone whose level dips by 15 dB at n times. */
static bool dips_trill(const double *at_s, size_t n)
{
    unsigned char trilled[FRAMES];
    signal x = swinging(25, 0);
    for (size_t c = 0; c < x.n_cells; c++) {
        double dip = 0;
        for (size_t k = 0; k < n; k++)
            dip += exp(-pow(((double)c / 1000 - at_s[k]) / 0.012, 2));
        x.power[c] *= (float)pow(10, -1.5 * dip);
    }
    bool is = trill_find(&x, 0.005, FRAMES, trilled);
    signal_clear(&x);
    return is;
}

/* As a voice dips that flips at a nasal, and one whose old note beats with the new in a room. */
static void test_a_few_dips_are_no_trill(void **state)
{
    (void)state;
    static const double steady[] = {2, 2.04, 2.08, 2.12, 2.16, 2.2, 2.24, 2.28, 2.32};
    static const double slowing[] = {2, 2.034, 2.070, 2.108, 2.150, 2.198, 2.253, 2.315, 2.385};
    assert_true(dips_trill(steady, 9));
    assert_false(dips_trill(steady, 2));
    assert_false(dips_trill(slowing, 9));
}

/* Nor are the nasals and liquids of a yodel, deep and shallow ones in a row. */
static void test_a_yodel_on_syllables_is_no_trill(void **state)
{
    (void)state;
    heard_singer h = hear_singer(2, "lilt", 4, "build/test_trill-takes");
    for (size_t k = 0; k < h.t.n; k++)
        for (size_t f = 0; f < h.tracks[k]->n; f++)
            assert_true(isnan(h.tracks[k]->pitch_st[f]) || track_sounds(h.tracks[k], f));
    heard_singer_clear(&h);
}

/* What is left of the swings where they were found. */
static void test_flattened(void **state)
{
    (void)state;
    unsigned char trilled[FRAMES];
    signal x = swinging(25, 10);
    assert_true(trill_find(&x, 0.005, FRAMES, trilled));
    signal flat = trill_flatten(&x, 0.005, FRAMES, trilled);
    double lowest = INFINITY, highest = 0;
    for (size_t c = 1500; c < 2500; c += 20) { /* in three periods each */
        double power = 0;
        for (size_t i = 0; i < 20 * CELL; i++)
            power += (double)flat.x[c * CELL + i] * (double)flat.x[c * CELL + i];
        lowest = fmin(lowest, power);
        highest = fmax(highest, power);
    }
    double left_db = 10 * log10(highest / lowest);
    printf("of swings by 10 dB to either side %.1f dB are left in all\n", left_db);
    assert_true(left_db < 5);
    signal_clear(&flat);
    signal_clear(&x);
}

/* Frames of one take or more. */
typedef struct tally {
    size_t sung, voiced, far, told; /* far: off by a semitone or more; told: with a harmonic */
} tally;

static void count(tally *c, const track *t, const track *sung)
{
    for (size_t i = 0; i < t->n && i < sung->n; i++) {
        if (!sung->reg[i])
            continue;
        c->sung++;
        c->voiced += !isnan(t->pitch_st[i]) ? 1 : 0;
        c->far += fabs(t->pitch_st[i] - sung->pitch_st[i]) >= 1;
        c->told += !isnan((double)t->harmonic_db[i * TRACK_HARMONICS]) ? 1 : 0;
    }
}

/* Each voice's three singers slide up eight semitones; the third in M2. */
static void slide(int voice, mouth m, int k, tally *c)
{
    static const char *const families[][3] = {{"clear", "vowel-u", "vibrato"},
                                              {"clear", "vowel-o", "vibrato"}};
    static const double from_st[] = {46, 50, 60};
    soloist who = soloist_draw(voice, families[voice - 1][k], 30 + (uint64_t)voice);
    solo_plan asked = {.kind = SOLO_SLIDE,
                       .held = 1 + (k == 2),
                       .from_st = from_st[k],
                       .to_st = from_st[k] + 8,
                       .from_db = who.middle_db,
                       .to_db = who.middle_db,
                       .by = m,
                       .seconds = 4};
    solo s = solo_sing(&who, &asked, k);
    err e = {""};
    track *t = solo_hear(&s.x, &e);
    if (!t)
        fail_msg("%s", e.text);
    count(c, t, s.meant);
    track_free(t);
    solo_clear(&s);
}

/* A fortieth of the frames are at the ends, where the voice is no trill yet. */
static void test_trilled_takes(void **state)
{
    (void)state;
    for (mouth m = MOUTH_OPEN; m < MOUTHS; m++) {
        tally c = {0};
        for (int k = 0; k < 3; k++) {
            slide(1, m, k, &c);
            slide(2, m, k, &c);
        }
        printf("%s: %zu frames, %.1f %% with a pitch, %.2f %% a semitone off, %.1f %% with "
               "harmonics\n",
               mouth_name(m), c.sung, 100 * (double)c.voiced / (double)c.sung,
               100 * (double)c.far / (double)c.sung, 100 * (double)c.told / (double)c.sung);
        bool trilled = m == MOUTH_LIPS || m == MOUTH_TONGUE;
        assert_true((double)c.voiced >= 0.95 * (double)c.sung);
        assert_true((double)c.far <= 0.02 * (double)c.sung);
        if (trilled)
            assert_true((double)c.told <= 0.05 * (double)c.sung);
        else
            assert_int_equal(c.told, c.voiced);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_what_is_a_trill),
        cmocka_unit_test(test_a_few_dips_are_no_trill),
        cmocka_unit_test(test_a_yodel_on_syllables_is_no_trill),
        cmocka_unit_test(test_flattened),
        cmocka_unit_test(test_trilled_takes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
