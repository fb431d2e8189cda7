/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What a change of register is that is none. Oracle: made frames, each with one tell-tale. */
#include "base/array.h"
#include "base/note.h"
#include "register/kind.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdlib.h>

#include <cmocka.h>

enum { FRAMES = 120, AT = 60 };

typedef struct scene {
    evidence *ev;
    track *t;
} scene;

/* A voice at `before_st` that goes on at `after_st` from frame AT. */
static scene scene_new(double before_st, double after_st)
{
    scene s = {evidence_alloc(FRAMES), track_new("made", FRAMES, 0.005, 0)};
    for (size_t i = 0; i < FRAMES; i++) {
        s.ev->take[i] = 0;
        s.ev->frame[i] = i;
        s.ev->gap_s[i] = i ? s.ev->hop_s : (double)INFINITY;
        s.ev->leap_st[i] = 0;
        s.ev->pitch_st[i] = i < AT ? before_st : after_st;
        s.ev->hz[i] = note_to_hz(s.ev->pitch_st[i]);
        for (int h = 0; h < HARMONICS; h++)
            s.ev->y_db[i][h] = (float)(-6 * h);
    }
    return s;
}

/* Asked at frame `at`; the scene ends. */
static flip_kind ask(scene s, size_t at)
{
    track *tracks[] = {s.t};
    flip_kind k = kind_of(s.ev, tracks, at);
    evidence_free(s.ev);
    track_free(s.t);
    return k;
}

static void test_a_leap_is_a_flip(void **state)
{
    (void)state;
    assert_int_equal(ask(scene_new(60, 65), AT), FLIP_PROPER);
    assert_int_equal(ask(scene_new(60, 72), AT), FLIP_PROPER); /* a yodel of an octave */
    assert_int_equal(ask(scene_new(72, 58), AT), FLIP_PROPER);
    assert_int_equal(ask(scene_new(60, 85), 0), FLIP_PROPER); /* an onset has no other side */
}

static void test_fry(void **state)
{
    (void)state;
    double low = note_from_hz(70);
    scene s = scene_new(low + 12, low);
    assert_int_equal(ask(s, AT), FLIP_PROPER); /* regular: a bass */
    s = scene_new(low + 12, low);
    s.t->irregular[AT + 5] = 2;
    assert_int_equal(ask(s, AT), FLIP_FRY);
    s = scene_new(low, low + 12);
    s.t->irregular[AT - 5] = 2;
    assert_int_equal(ask(s, AT), FLIP_FRY);
    assert_int_equal(ask(scene_new(60, 82), AT), FLIP_FRY); /* ringing */
    for (int irregular = 0; irregular < 2; irregular++) {   /* and now and then told lower still */
        s = scene_new(82, 66);
        s.ev->pitch_st[AT + 20] = 63;
        s.t->irregular[AT + 20] = irregular ? 2 : 0;
        assert_int_equal(ask(s, AT), irregular ? FLIP_FRY : FLIP_PROPER);
    }
    assert_int_equal(ask(scene_new(82, 60), AT), FLIP_FRY);
}

static void test_whistle(void **state)
{
    (void)state;
    double above = note_from_hz(1050);
    assert_int_equal(ask(scene_new(above - 6, above), AT), FLIP_WHISTLE);
    assert_int_equal(ask(scene_new(above, above - 6), AT), FLIP_WHISTLE);
    assert_int_equal(ask(scene_new(above - 12, above - 7), AT), FLIP_PROPER);
}

static void test_doubling(void **state)
{
    (void)state;
    scene s = scene_new(60, 60);
    for (size_t i = AT; i < FRAMES; i++)
        s.t->doubled[i] = 1;
    assert_int_equal(ask(s, AT), FLIP_DOUBLING);
    for (int k = 0; k < 8; k++) { /* passed on the way of a leap, or not so */
        bool after = k & 1, leaps = k & 2, brief = k & 4;
        s = scene_new(60, 62);
        s.ev->leap_st[AT] = leaps ? 2 : 0;
        for (size_t i = 0; i < (brief ? 24 : 36); i++)
            s.t->doubled[after ? AT + i : AT - 1 - i] = 1;
        assert_int_equal(ask(s, AT), leaps && brief ? FLIP_PROPER : FLIP_DOUBLING);
    }
    static const double leaps_st[] = {-8, 8, 3,
                                      -11.5}; /* to another note, or near the same or its octave */
    for (size_t k = 0; k < sizeof leaps_st / sizeof *leaps_st; k++) {
        s = scene_new(66, 66 + leaps_st[k]);
        for (size_t i = AT; i < FRAMES; i++)
            s.t->doubled[i] = 1;
        assert_int_equal(ask(s, AT), k < 2 ? FLIP_PROPER : FLIP_DOUBLING);
    }
    s = scene_new(72, 60); /* an octave, and every second harmonic is weak */
    for (size_t i = AT; i < FRAMES; i++)
        for (int h = 0; h < HARMONICS; h += 2)
            s.ev->y_db[i][h] -= 12;
    assert_int_equal(ask(s, AT), FLIP_DOUBLING);
}

static void test_consonant(void **state)
{
    (void)state;
    scene s = scene_new(60, 60);
    s.ev->gap_s[AT] = 0.045;
    assert_int_equal(ask(s, AT), FLIP_CONSONANT);
    s = scene_new(60, 64);
    s.ev->gap_s[AT] = 0.045; /* a voice that cracks may stop for so long */
    assert_int_equal(ask(s, AT), FLIP_PROPER);
    s = scene_new(60, 64);
    s.ev->gap_s[AT] = 0.08;
    assert_int_equal(ask(s, AT), FLIP_CONSONANT);
    s = scene_new(60, 60);
    s.ev->gap_s[AT] = 0.02;
    assert_int_equal(ask(s, AT), FLIP_PROPER);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_leap_is_a_flip), cmocka_unit_test(test_fry),
        cmocka_unit_test(test_whistle),          cmocka_unit_test(test_doubling),
        cmocka_unit_test(test_consonant),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
