/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Vowels told from registers. Oracles: harmonics made by hand, of a melody on vowels of known
 * formants in registers that change at other times; a test voice whose vowels go with them. */
#include "base/array.h"
#include "base/note.h"
#include "register/decode.h"
#include "register/regress.h"
#include "register/vowels.h"
#include "register/shapes.h"
#include "voice/marks.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

#include "heard_singer.h"

enum { FRAMES = 1200 }; /* 24 s, thinned */
static const double hop_s = 0.02, pi = 3.14159265358979;

/* Two resonances of a vowel as Peterson and Barney 1952 have a man's /a/, /i/ and /u/ (from
 * memory), and a third. */
static double tract_db(int vowel, double hz)
{
    static const double formants[][3] = {{730, 1090, 2440}, {270, 2290, 3010}, {300, 870, 2240}};
    double db = 0;
    for (int k = 0; k < 3; k++) {
        double f = hz / formants[vowel][k], wide = 90 / formants[vowel][k];
        db -= 10 * log10((1 - f * f) * (1 - f * f) + f * f * wide * wide);
    }
    return db;
}

static double noise(uint32_t *dice) /* -1 to 1 */
{
    *dice = *dice * 1664525 + 1013904223;
    return *dice / 2147483648.0 - 1;
}

static int vowel_at(size_t i, int n)
{
    return (int)(i / 37) % n;
}

static bool in_m2(size_t i)
{
    return i / 61 % 2;
}

/* The source falls by 9 dB an octave; M2 has 6 dB more of the first harmonic. The formants wander
 * by 3 %, as nobody holds a vowel quite still. */
static evidence *sung(int n_vowels)
{
    evidence *ev = evidence_alloc(FRAMES);
    uint32_t dice = 3;
    ev->hop_s = hop_s;
    for (size_t i = 0; i < FRAMES; i++) {
        double t = hop_s * (double)i;
        ev->take[i] = 0;
        ev->frame[i] = i;
        ev->gap_s[i] = i ? hop_s : (double)INFINITY;
        ev->before[i] = i < 5 ? EVIDENCE_NONE : i - 5;
        ev->edge_s[i] = fmin(t, hop_s * (FRAMES - 1) - t);
        ev->pitch_st[i] = 57 + 5 * sin(2 * pi * 0.31 * t) + 3 * sin(2 * pi * 0.83 * t);
        ev->hz[i] = note_to_hz(ev->pitch_st[i]);
        ev->level_db[i] = 3 * sin(2 * pi * 0.23 * t);
        for (int h = 0; h < HARMONICS; h++) {
            double hz = ev->hz[i] * (h + 1), wander = 1 + 0.03 * sin(2 * pi * 0.47 * t);
            ev->warp[i][h] = (float)evidence_warp(hz);
            double y = tract_db(vowel_at(i, n_vowels), hz * wander) - 9 * log2(h + 1) +
                       (h == 0 && in_m2(i) ? 6 : 0) + noise(&dice);
            ev->y_db[i][h] = (float)y;
            ev->var[i][h] = 0.1F;
        }
    }
    return ev;
}

typedef struct fitted {
    model m;
    bool change;       /* by one vowel's model */
    double left_db;    /* root mean square of what is left at the registers */
    double step_db[2]; /* from M1 to M2, the first harmonic over the mean of all: by the model, and
                           by what is left at s = 0 */
} fitted;

/* What a model leaves of the frames that it was fitted to, told as of others: the same, but for
 * vowels that are told once more. */
static void apply(const evidence *ev, const model *m, const double *p2, float (*r)[HARMONICS])
{
    float(*again)[HARMONICS] = xmalloc(ev->n, sizeof *again);
    double worst = 0, squares = 0;
    regress_apply(ev, m, p2, again);
    for (size_t i = 0; i < ev->n; i++)
        for (int h = 0; h < HARMONICS; h++) {
            double off = (double)(again[i][h] - r[i][h]);
            worst = fmax(worst, fabs(off));
            squares += off * off / HARMONICS / (double)ev->n;
        }
    print_message("applied: %.2g dB off, worst %.2g\n", sqrt(squares), worst);
    assert_true(worst < 1e-6);
    free(again);
}

/* EM's M-step, the registers known, four times over. */
static fitted fit(const evidence *ev, bool may_change)
{
    fitted f = {.m = {.mouth = {.may_change = may_change}}};
    regress_settings s = regress_defaults();
    regression *g = regress_new(ev, &s);
    float(*r)[HARMONICS] = xmalloc(ev->n, sizeof *r);
    double *p2 = xmalloc(ev->n, sizeof *p2), first[2] = {0}, n[2] = {0}, squares = 0;
    for (size_t i = 0; i < ev->n; i++)
        p2[i] = in_m2(i);
    for (int k = 0; k < 4; k++)
        assert_true(regress_fit(g, false, &f.m, p2, r));
    apply(ev, &f.m, p2, r);
    for (int h = 0; h < HARMONICS; h++)
        f.step_db[0] -= model_step(&f.m, h, 0) / HARMONICS;
    f.step_db[0] += model_step(&f.m, 0, 0);
    for (size_t i = 0; i < ev->n; i++) {
        double mean = 0, s_at = in_m2(i) ? 0.5 : -0.5;
        for (int h = 0; h < HARMONICS; h++) {
            double left = (double)r[i][h] - s_at * model_step(&f.m, h, ev->level_db[i]);
            mean += (double)r[i][h] / HARMONICS;
            squares += left * left / HARMONICS / (double)ev->n;
        }
        first[in_m2(i)] += (double)r[i][0] - mean;
        n[in_m2(i)]++;
    }
    f.left_db = sqrt(squares);
    f.step_db[1] = first[1] / n[1] - first[0] / n[0];
    f.change = regress_vowels(g, &f.m, p2, r) >= VOWELS_SURE_DB;
    regress_free(g);
    free(p2);
    free(r);
    print_message("vowels %d, left %.2f dB, step %.2f dB, of what is left %.2f dB\n", f.m.mouth.n,
                  f.left_db, f.step_db[0], f.step_db[1]);
    return f;
}

static void test_vowels_are_told_from_the_register(void **state)
{
    (void)state;
    for (int n = 2; n <= 3; n++) {
        evidence *ev = sung(n);
        fitted one = fit(ev, false), many = fit(ev, true);
        assert_true(one.change && one.m.mouth.n == 0);
        assert_true(many.m.mouth.n >= n && many.m.mouth.n <= VOWELS_MOST);
        assert_true(one.left_db > 5 && many.left_db < one.left_db / 3);
        /* 6 dB of the first harmonic is 5.6 over the mean of 16. */
        for (int k = 0; k < 2; k++)
            assert_true(fabs(many.step_db[k] - 5.6) < 1);
        evidence_free(ev);
    }
}

static void test_one_vowel_stays_one(void **state)
{
    (void)state;
    evidence *ev = sung(1);
    fitted one = fit(ev, false), free_to = fit(ev, true);
    assert_false(one.change);
    assert_int_equal(free_to.m.mouth.n, 0);
    for (int k = 0; k < MODEL_SIZE; k++)
        assert_true(one.m.beta[k] == free_to.m.beta[k]);
    evidence_free(ev);
}

/* A frame without harmonics says nothing of its vowel, and takes nothing. */
static void test_frames_without_harmonics(void **state)
{
    (void)state;
    evidence *ev = sung(2);
    for (size_t i = 0; i < FRAMES; i += 7)
        for (int h = 0; h < HARMONICS; h++) {
            ev->y_db[i][h] = NAN;
            ev->var[i][h] = NAN;
        }
    model m = {.mouth = {.may_change = true}};
    regress_settings s = regress_defaults();
    regression *g = regress_new(ev, &s);
    float(*r)[HARMONICS] = xmalloc(ev->n, sizeof *r);
    double *p2 = xmalloc(ev->n, sizeof *p2);
    for (size_t i = 0; i < ev->n; i++)
        p2[i] = in_m2(i);
    assert_true(regress_fit(g, false, &m, p2, r) && regress_fit(g, false, &m, p2, r));
    assert_true(m.mouth.n >= 2);
    for (size_t i = 0; i < FRAMES; i++)
        for (int h = 0; h < HARMONICS; h++)
            assert_true(i % 7 ? isfinite(r[i][h]) : isnan(r[i][h]));
    regress_free(g);
    free(p2);
    free(r);
    evidence_free(ev);
}

/* Frames that are made of a shape, some of it in each, tell it. */
static void test_a_shape_is_recovered(void **state)
{
    (void)state;
    evidence *ev = sung(1);
    model m = {.lo = evidence_warp(200), .hi = evidence_warp(6000), .pitch_mid = 57};
    design *d = design_new(ev, &m);
    float var[HARMONICS] = {0}, shape[VOWEL_NODES], told[VOWEL_NODES];
    float(*r)[HARMONICS] = xcalloc(ev->n, sizeof *r);
    seen *frames = xmalloc(ev->n, sizeof *frames);
    shape_sums sums = {{{0}}};
    double worst = 0;
    for (int k = 0; k < VOWEL_NODES; k++)
        shape[k] = (float)sin(0.4 * k);
    shapes_see(d, var, r, frames);
    for (size_t i = 0; i < ev->n; i++) {
        float u = (float)(3 * sin(0.37 * (double)i)), mean = shapes_share(&frames[i], shape).mean;
        shapes_leave(&frames[i], shape, -u);
        for (int h = 0; h < HARMONICS; h++)
            frames[i].left[h] -= u * mean; /* the gain is out */
        shapes_add(&sums, &frames[i], u, u * u, mean);
    }
    shapes_solve(&sums, 1e-6, 0, told);
    for (int k = 1; k + 4 < VOWEL_NODES; k++)
        worst = fmax(worst, fabs((double)(told[k] - shape[k])));
    print_message("worst error %.1e dB\n", worst);
    assert_true(worst < 1e-3);
    free(frames);
    free(r);
    design_free(d);
    evidence_free(ev);
}

/* Beside yodels whose vowel goes with the register slides on one vowel are told, too. */
static void test_a_slide_beside_vowels_that_go_with_the_register(void **state)
{
    (void)state;
    heard_singer h = hear_singer(1, "syllables", 16, "build/test_vowels-takes");
    register_settings s = register_defaults();
    register_summary summary;
    size_t slides = 0, told = 0;
    register_decode(h.tracks, h.t.n, &s, h.found, &summary);
    for (size_t k = 0; k < h.t.n; k++) {
        const truth_take *t = &h.t.takes[k];
        long *match = xmalloc(t->n_flips, sizeof *match);
        marks_match(t, &h.found[k], 0.5, match);
        slides += t->n_flips == 1;
        told += t->n_flips == 1 && match[0] >= 0;
        free(match);
    }
    print_message("%zu of the flips of %zu slides\n", told, slides);
    assert_true(slides >= 2);
    assert_int_equal(told, slides);
    heard_singer_clear(&h);
}

typedef struct count {
    size_t sung, told, asserted;
} count;

static count flips_of(int voice, const char *family, unsigned long seed)
{
    heard_singer h = hear_singer(voice, family, seed, "build/test_vowels-takes");
    register_settings s = register_defaults();
    register_summary summary;
    marks m = {0};
    register_decode(h.tracks, h.t.n, &s, h.found, &summary);
    for (size_t k = 0; k < h.t.n; k++)
        marks_take(&m, &h.t.takes[k], h.tracks[k], &h.found[k], FLIP_ASSERTED);
    count c = {m.true_flips, m.matched, m.found_flips};
    print_message("%s, seed %lu: %zu of %zu flips, %zu asserted\n", family, seed, c.told, c.sung,
                  c.asserted);
    marks_clear(&m);
    heard_singer_clear(&h);
    return c;
}

/* Two thirds of this voice is high, and its vowels move the harmonics by 2.34 dB: from lines in
 * pitch with 0.4 and more of the frames below none of its flips was told, nor without vowels. */
static void test_a_voice_mostly_high(void **state)
{
    (void)state;
    count c = flips_of(1, "song", 28);
    assert_true(c.sung >= 15 && 4 * c.told > c.sung);
}

/* The world that was found had 28 nats, but its model begun anew had one. */
static void test_what_stood_well_is_kept(void **state)
{
    (void)state;
    count c = flips_of(1, "song", 31);
    assert_true(c.sung >= 10 && 2 * c.told > c.sung);
}

/* On one vowel consonants move the harmonics by 2.35 dB. Worlds with vowels, which hardly change,
 * would have two flips here, where none is sung. */
static void test_vowels_that_hardly_change(void **state)
{
    (void)state;
    assert_int_equal(flips_of(2, "consonants", 12).asserted, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_vowels_are_told_from_the_register),
        cmocka_unit_test(test_one_vowel_stays_one),
        cmocka_unit_test(test_frames_without_harmonics),
        cmocka_unit_test(test_a_shape_is_recovered),
        cmocka_unit_test(test_a_slide_beside_vowels_that_go_with_the_register),
        cmocka_unit_test(test_a_voice_mostly_high),
        cmocka_unit_test(test_what_stood_well_is_kept),
        cmocka_unit_test(test_vowels_that_hardly_change),
    };
    return cmocka_run_group_tests_name("vowels", tests, NULL, NULL);
}
