/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The marks behind the accuracy table. Oracle: takes made up so that each count is known by hand;
 * and a rendered singer whose truth, read back and handed in as the answer, gets full marks. */
#include "base/array.h"
#include "voice/marks.h"
#include "voice/score.h"
#include "voice/studio.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { FRAMES = 400, FROM = 100, TO = 300 }; /* voiced from 0.5 s up to 1.5 s, flip at 1 s */

static void close_to(const char *what, double want, double got, double tolerance)
{
    if (!(fabs(got - want) <= tolerance))
        fail_msg("%s is %.5f, should be %.5f", what, got, want);
}

static truth_take take_new(void)
{
    truth_take t = {.n = FRAMES, .n_flips = 1};
    t.pitch_st = array_filled(t.n, (double)NAN);
    t.level_db = array_filled(t.n, -INFINITY);
    t.reg = xcalloc(t.n, 1);
    t.flips = xcalloc(1, sizeof *t.flips);
    t.flips[0] = (truth_flip){.time_s = 1, .span_ms = 40, .direction = FLIP_UP};
    for (size_t i = FROM; i < TO; i++) {
        t.pitch_st[i] = i < 200 ? 60 : 65;
        t.level_db[i] = -30;
        t.reg[i] = i < 200 ? 1 : 2;
    }
    return t;
}

static track *answer_new(const truth_take *t)
{
    track *k = track_new("take", t->n, TRUTH_HOP_S, 0);
    memcpy(k->pitch_st, t->pitch_st, t->n * sizeof *k->pitch_st);
    memcpy(k->level_db, t->level_db, t->n * sizeof *k->level_db);
    memcpy(k->reg, t->reg, t->n);
    return k;
}

static void take_clear(truth_take *t)
{
    free(t->pitch_st);
    free(t->level_db);
    free(t->reg);
    free(t->flips);
}

static flip found_at(double time_s, flip_direction direction, double confidence)
{
    return (flip){.time_s = time_s,
                  .direction = direction,
                  .confidence = confidence,
                  .pitch_before_st = 60,
                  .pitch_after_st = 64.5};
}

static void test_frames(void **state)
{
    (void)state;
    truth_take t = take_new();
    track *k = answer_new(&t);
    flips none = {0};
    marks m = {0};
    for (size_t i = 110; i < 120; i++)
        k->pitch_st[i] -= 12; /* an octave error */
    for (size_t i = 120; i < 125; i++)
        k->pitch_st[i] = (double)NAN; /* missed */
    k->pitch_st[195] = 65;            /* near the flip */
    for (size_t i = 130; i < 150; i++)
        k->pitch_st[i] += 0.07;
    for (size_t i = 0; i < 20; i++)
        k->pitch_st[i] = 50; /* voice in silence */
    k->pitch_st[95] = 60;    /* so near that nobody can say */
    for (size_t i = 150; i < 160; i++)
        k->reg[i] = 2;
    k->reg[199] = 2; /* in the middle of the change */
    marks_take(&m, &t, k, &none, 0.5);
    assert_int_equal(m.voiced[0] + m.voiced[1], TO - FROM);
    assert_int_equal(m.voiced[1], 15); /* 0.96..1.04 s, its ends left out */
    assert_int_equal(m.gross[0], 15);
    assert_int_equal(m.gross[1], 1);
    assert_int_equal(m.false_voiced, 20);
    assert_int_equal(m.silent, 80 + 80);
    assert_int_equal(m.reg_frames, TO - FROM - 9);
    assert_int_equal(m.reg_frames - m.reg_right, 10);
    close_to("largest error", 7, numbers_quantile(&m.cents, 1), 1e-9);
    close_to("minutes", 1.0 / 60, m.minutes, 1e-9);
    marks_clear(&m);
    track_free(k);
    take_clear(&t);
}

/* Marks of one true flip at 1 s against these found ones. */
static marks flips_marked(size_t n, const flip *found)
{
    truth_take t = take_new();
    track *k = answer_new(&t);
    flip *items = xcalloc(n, sizeof *items);
    for (size_t i = 0; i < n; i++)
        items[i] = found[i];
    flips list = {n, n, items};
    marks m = {0};
    marks_take(&m, &t, k, &list, 0.5);
    free(items);
    track_free(k);
    take_clear(&t);
    return m;
}

static void test_flips(void **state)
{
    (void)state;
    flip near = found_at(1.055, FLIP_UP, 0.9), nearer = found_at(0.99, FLIP_UP, 0.6);
    flip far = found_at(1.065, FLIP_UP, 0.9), down = found_at(1, FLIP_DOWN, 0.9);
    flip doubtful = found_at(1, FLIP_UP, 0.49);
    marks m = flips_marked(1, &near);
    close_to("F1", 1, marks_f1(&m), 0);
    close_to("time", 55, numbers_quantile(&m.time_ms, 0.5), 1e-6);
    close_to("leap", 0.5, numbers_quantile(&m.leap_st, 0.5), 1e-6);
    marks_clear(&m);
    const flip wrong[] = {far, down, doubtful};
    for (size_t i = 0; i < 3; i++) {
        m = flips_marked(1, &wrong[i]);
        close_to("F1 of a wrong flip", 0, marks_f1(&m), 0);
        assert_int_equal(m.found_flips, i < 2);
        marks_clear(&m);
    }
    m = flips_marked(2, (const flip[]){nearer, near});
    close_to("precision of a doubled flip", 0.5, marks_precision(&m), 0);
    close_to("recall of a doubled flip", 1, marks_recall(&m), 0);
    close_to("time of the nearer", 10, numbers_quantile(&m.time_ms, 0.5), 1e-6);
    marks_clear(&m);
    m = flips_marked(0, NULL);
    assert_true(isnan(marks_precision(&m)) && marks_recall(&m) == 0 && marks_f1(&m) == 0);
    marks_clear(&m);
}

/* One take of a singer of one register, its frames labelled as `given`. */
static marks single_marked(unsigned char only, unsigned char given, size_t others)
{
    truth_take t = take_new();
    t.n_flips = 0;
    for (size_t i = FROM; i < TO; i++)
        t.reg[i] = only;
    track *k = answer_new(&t);
    for (size_t i = FROM; i < TO; i++)
        k->reg[i] = i < FROM + others ? (unsigned char)(3 - only) : given;
    flip sure = found_at(1, FLIP_UP, 0.9), doubtful = found_at(1.2, FLIP_DOWN, 0.4);
    flips list = {2, 2, (flip[]){sure, doubtful}};
    truth one_take = {.n = 1, .takes = &t};
    marks m = {0}, sum = {0};
    marks_take(&m, &t, k, &list, 0.5);
    marks_single(&m, &one_take, &k);
    marks_add(&sum, &m);
    marks_clear(&m);
    track_free(k);
    take_clear(&t);
    return sum;
}

static void test_singers_of_one_register(void **state)
{
    (void)state;
    marks right = single_marked(2, 2, 30), wrong = single_marked(2, 1, 0);
    marks nameless = single_marked(1, 0, 10);
    assert_int_equal(right.still_takes, 1);
    assert_int_equal(right.still_false, 1);
    close_to("minutes without a flip", 1.0 / 60, right.still_minutes, 1e-9);
    assert_int_equal(right.reg_right, TO - FROM - 30);
    assert_int_equal(wrong.reg_right, TO - FROM); /* one register, by the other's name */
    assert_int_equal(nameless.reg_right, TO - FROM - 10);
    assert_int_equal(right.singles + wrong.singles + nameless.singles, 3);
    assert_int_equal(right.misnamed + nameless.misnamed, 0);
    assert_int_equal(wrong.misnamed, 1);
    truth_take t = take_new();
    track *k = answer_new(&t);
    truth two = {.n = 1, .takes = &t};
    flips none = {0};
    marks m = {0};
    marks_take(&m, &t, k, &none, 0.5);
    size_t before = m.reg_right;
    marks_single(&m, &two, &k);
    assert_int_equal(m.singles, 0);
    assert_int_equal(m.still_takes, 0); /* it has a flip */
    assert_int_equal(m.reg_right, before);
    marks_clear(&m);
    marks_clear(&right);
    marks_clear(&wrong);
    marks_clear(&nameless);
    track_free(k);
    take_clear(&t);
}

static void test_boundary(void **state)
{
    (void)state;
    marks m = {0}, sum = {0};
    marks_boundary(&m, 62, 62.5, 61, 63);
    marks_boundary(&m, 62, 61.8, 61.7, 61.9);
    marks_boundary(&m, 62, (double)NAN, (double)NAN, (double)NAN);
    marks_add(&sum, &m);
    marks_add(&sum, &m);
    assert_int_equal(sum.boundaries, 6);
    assert_int_equal(sum.told, 4);
    assert_int_equal(sum.covered, 2);
    close_to("worst", 0.5, numbers_quantile(&sum.boundary_st, 1), 1e-9);
    truth t = {.up_st = 64, .down_st = 61, .slope = 0.2, .level_db = -30};
    close_to("boundary above", 65, truth_boundary_st(&t, FLIP_UP, -25), 1e-9);
    close_to("boundary below", 60, truth_boundary_st(&t, FLIP_DOWN, -35), 1e-9);
    marks_clear(&m);
    marks_clear(&sum);
}

/* The truth as the answer. */
static void truth_marked(const truth *t, marks *m)
{
    for (size_t i = 0; i < t->n; i++) {
        const truth_take *take = &t->takes[i];
        track *k = answer_new(take);
        flips list = {.items = xcalloc(take->n_flips, sizeof(flip))};
        for (size_t f = 0; f < take->n_flips; f++) {
            flip one = found_at(take->flips[f].time_s, take->flips[f].direction, 1);
            one.pitch_after_st = one.pitch_before_st + truth_heard_leap(take, &take->flips[f]);
            list.items[list.n++] = one;
        }
        marks_take(m, take, k, &list, 0.5);
        free(list.items);
        track_free(k);
    }
}

static void test_truth_gets_full_marks(void **state)
{
    (void)state;
    char folder[] = "/tmp/singer-XXXXXX";
    assert_non_null(mkdtemp(folder));
    err e = {0};
    truth t;
    if (!studio_family(FAMILY_WOMAN, 3, STUDIO_ALL, folder, &e) || !truth_read(folder, &t, &e))
        fail_msg("%s", e.text);
    singer s = singer_draw(FAMILY_WOMAN, 3);
    assert_int_equal(t.n, score_count(&s));
    close_to("boundary", s.boundary.pitch_st, t.up_st, 1e-4);
    close_to("hysteresis", s.boundary.hysteresis, t.up_st - t.down_st, 1e-3);
    marks m = {0};
    truth_marked(&t, &m);
    assert_true(m.true_flips >= 6);
    close_to("F1", 1, marks_f1(&m), 0);
    assert_int_equal(m.gross[0] + m.gross[1], 0);
    assert_int_equal(m.reg_right, m.reg_frames);
    close_to("worst leap", 0, numbers_quantile(&m.leap_st, 1), 1e-9);
    marks_clear(&m);
    truth_clear(&t);
    char *clean_up = xformat("rm -rf %s", folder);
    assert_int_equal(system(clean_up), 0);
    free(clean_up);
}

/* Oracle: all counts of true flips, one by one, with their binomial probabilities. */
static void test_calibration_by_chance(void **state)
{
    (void)state;
    marks m = {
        .tenths = {
            [2] = {.listed = 7, .confidence = 1.75}, [9] = {.listed = 40, .confidence = 38.8}}};
    assert_true(isnan(marks_calibration_by_chance(&(marks){0})));
    double sum = 0;
    for (int k = 0; k < MARKS_TENTHS; k++) {
        size_t n = m.tenths[k].listed;
        double p = n ? m.tenths[k].confidence / (double)n : 0, chance = pow(1 - p, (double)n);
        for (size_t is = 0; is <= n; is++) {
            sum += chance * fabs((double)is - (double)n * p);
            chance *= p / (1 - p) * (double)(n - is) / (double)(is + 1);
        }
    }
    close_to("chance's calibration error", sum / 47, marks_calibration_by_chance(&m), 1e-12);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_frames),
        cmocka_unit_test(test_flips),
        cmocka_unit_test(test_singers_of_one_register),
        cmocka_unit_test(test_boundary),
        cmocka_unit_test(test_truth_gets_full_marks),
        cmocka_unit_test(test_calibration_by_chance),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
