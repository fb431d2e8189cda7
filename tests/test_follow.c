/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The commands progress, compare and next, as a person calls them. Oracle: slides that were made to
 * flip at stated pitches, alike in all sessions. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "call_program.h"
#include "show/far_level.h"

#define SLIDE(who, day, vowel, level, full)                                                        \
    {                                                                                              \
        who, day, vowel, NULL, level, full, 900, LEVEL, PITCH, DECLARED_NONE, true                 \
    }
#define NONE ((double)NAN)

static const sung studio[] = {
    SLIDE("wren", "2025-01-01", "a", -40, NONE), SLIDE("wren", "2025-01-01", "a", -30, NONE),
    SLIDE("wren", "2025-01-01", "a", -20, NONE), SLIDE("wren", "2025-02-01", "a", -40, NONE),
    SLIDE("wren", "2025-02-01", "a", -30, NONE), SLIDE("wren", "2025-02-01", "a", -20, NONE),
    SLIDE("wren", "2025-03-01", "a", -40, NONE), SLIDE("wren", "2025-03-01", "a", -30, NONE),
    SLIDE("wren", "2025-03-01", "a", -20, NONE), SLIDE("wren", "2025-04-01", "a", -40, NONE),
    SLIDE("wren", "2025-04-01", "a", -30, NONE), SLIDE("wren", "2025-04-01", "a", -20, NONE),
    SLIDE("owl", "2025-02-01", "a", 60, 110),    SLIDE("owl", "2025-02-01", "a", 70, 110),
    SLIDE("owl", "2025-02-01", "a", 80, 110),    SLIDE("kite", "2025-02-01", "o", 70, 110),
    SLIDE("rook", "2025-02-01", "a", 62, 110),   SLIDE("rook", "2025-02-01", "a", 72, 110),
    SLIDE("rook", "2025-02-01", "a", 82, 110),
};

static int set_up(void **state)
{
    return fill_studio(state, studio, N_OF(studio));
}

/* The cell of the first row with this who (its first column) and parameter; NaN when empty. */
static double cell(const table *t, const char *who, const char *parameter, const char *column)
{
    err e = {""};
    double value = (double)NAN;
    for (size_t i = 0; i < t->n_rows; i++)
        if (strcmp(table_cell(t, i, 0), who) == 0 &&
            strcmp(table_cell(t, i, table_column(t, "parameter")), parameter) == 0) {
            must(table_value(t, i, table_column(t, column), &value, &e), &e);
            return value;
        }
    fail_msg("no row %s %s", who, parameter);
    return value;
}

static off_t size_of(void **state, const char *ending)
{
    struct stat s;
    char *file = beside(state, ending);
    off_t size = stat(file, &s) == 0 ? s.st_size : -1;
    free(file);
    return size;
}

/* Nothing moves in these sessions. */
static void sessions_and_their_trend(void **state)
{
    const char *all = "2025-01-01/2025-04-01";
    assert_int_equal(call(state, "progress", "wren", "--since", "2025-03-01"), 0);
    table *t = result(state);
    assert_int_equal(t->n_rows, 4 * (9 + 2 * 3 + 2) + 2 * 5 * 3);
    assert_true(fabs(cell(t, "2025-02-01", "up.pitch", "estimate") - 64) < 0.3);
    assert_true(fabs(cell(t, "2025-04-01", "down.pitch", "estimate") - 61) < 0.3);
    assert_true(cell(t, all, "up.pitch.trend", "lo95") <= 0);
    assert_true(cell(t, all, "up.pitch.trend", "hi95") >= 0);
    assert_true(cell(t, all, "up.pitch.trend.detectable", "estimate") >= 0);
    assert_true(fabs(cell(t, all, "up.pitch.trend.scatter", "estimate")) < 0.1);
    assert_true(fabs(cell(t, "2025-03-01", "up.pitch.shift", "estimate")) < 0.1);
    assert_string_equal(table_note_value(t, "sessions_before"), "2");
    assert_true(cell(t, "2025-01-01", "zone", "estimate") > 0);
    assert_true(isnan(cell(t, "2025-01-01", "seam", "estimate"))); /* these takes have no flips */
    table_free(t);
    assert_says(state, ".out", "no sure change");
}

/* One session is no course; two are, with the scatter that is assumed. */
static void few_sessions(void **state)
{
    assert_int_equal(call(state, "progress", "owl"), 0);
    table *t = result(state);
    assert_true(isnan(cell(t, "2025-02-01/2025-02-01", "up.pitch.trend", "estimate")));
    table_free(t);
    assert_says(state, ".out", "too few sessions");
    assert_says(state, ".out", "dB SPL (Z, 30 cm), 2025-02-01. A move");
}

/* Two singers of one session each, alike: the assumed scatter makes the difference's interval at
 * least 1.96 sqrt(2) of it either way. */
static void singers_compared(void **state)
{
    assert_int_equal(call(state, "compare", "owl", "rook", "--scatter", "1.5"), 0);
    table *t = result(state);
    double off = cell(t, "rook less owl", "up.pitch.difference", "estimate");
    double hi = cell(t, "rook less owl", "up.pitch.difference", "hi95");
    assert_true(fabs(off) < 0.5);
    assert_true(hi - off >= 1.96 * sqrt(2) * 1.5 && hi - off < 6);
    assert_true(fabs(cell(t, "rook", "up.pitch", "estimate") - 64) < 0.5);
    assert_true(fabs(cell(t, "rook less owl", "up.pitch.difference.scatter", "estimate") - 1.5) <
                1e-3);
    assert_string_equal(table_note_value(t, "level_scale"), "dB SPL (Z, 30 cm)");
    table_free(t);
    assert_says(state, ".out", "# assumed");
    assert_int_equal(size_of(state, ".said"), 0);
}

/* Whoever is named first, the others come in one order. */
static void singers_sorted(void **state)
{
    char *firsts[2];
    for (int k = 0; k < 2; k++) {
        assert_int_equal(
            call(state, "compare", "owl", k ? "wren" : "rook", k ? "rook" : "wren", "--at", "0"),
            0);
        table *t = result(state);
        double last = -INFINITY;
        firsts[k] = xstrdup(table_cell(t, 9, 0));
        for (size_t i = 0; i < t->n_rows; i++)
            if (strcmp(table_cell(t, i, table_column(t, "parameter")), "up.pitch.difference") ==
                0) {
                double off = cell(t, table_cell(t, i, 0), "up.pitch.difference", "estimate");
                assert_true(off >= last);
                last = off;
            }
        assert_true(last > -INFINITY);
        table_free(t);
    }
    assert_string_equal(firsts[0], firsts[1]);
    free(firsts[0]);
    free(firsts[1]);
}

/* A singer without calibration: everybody on the own scale, and a word about it. */
static void unlike_scales(void **state)
{
    assert_int_equal(call(state, "compare", "owl", "wren", "--at", "0"), 0);
    table *t = result(state);
    assert_string_equal(table_note_value(t, "level_scale"), "dB re session median");
    assert_true(fabs(cell(t, "owl", "up.pitch", "estimate") - 64) < 0.5);
    assert_true(fabs(cell(t, "owl", "up.pitch", "at_db")) < 1e-9);
    table_free(t);
    assert_says(state, ".said", "calibrated");
}

/* A line that is prolonged to a level at which nothing was sung says so; one that is prolonged by
 * more than it is long says nothing. wren sang 20 dB, owl and rook 60 to 82 dB. */
static void levels_that_were_not_sung(void **state)
{
    const char *const calls[][4] = {{"map", "wren", "--at=15", "--at=100"},
                                    {"progress", "wren", "--at=15", "--at=-100"},
                                    {"compare", "owl", "--at=90", "--at=130"}};
    for (size_t i = 0; i < N_OF(calls); i++) {
        const char *who = calls[i][1], *rook = i == 2 ? "rook" : "--quiet";
        assert_int_equal(call(state, calls[i][0], who, rook, calls[i][2]), 0);
        assert_says(state, ".out", "the line is prolonged");
        if (i)
            assert_says(state, ".out", far_level_words);
        assert_int_equal(call(state, calls[i][0], who, rook, calls[i][3]), 3);
        assert_says(state, ".said", "Nothing is known of");
    }
    assert_int_equal(call(state, "map", "wren", "--at=2", "--gain=automatic"), 3);
    assert_says(state, ".said", "Levels are not known");
    assert_int_equal(call(state, "progress", "wren", "--at", "2"), 0);
    table *t = result(state);
    assert_null(table_note_value(t, "far"));
    table_free(t);
}

/* Left out on demand: one level, and no slope. */
static void levels_that_are_not_known(void **state)
{
    assert_int_equal(call(state, "map", "wren", "--gain", "automatic"), 0);
    table *t = result(state);
    assert_string_equal(table_note_value(t, "level_scale"), "not known (automatic gain)");
    assert_string_equal(table_note_value(t, "at_db"), "0.00");
    assert_non_null(strstr(table_note_value(t, "up.slope"), "within 0.0 dB"));
    table_free(t);
    assert_int_equal(call(state, "compare", "owl", "rook", "--gain", "automatic"), 0);
    t = result(state);
    assert_true(fabs(cell(t, "rook less owl", "up.pitch.difference", "estimate")) < 0.5);
    table_free(t);
}

static void takes_to_record_next(void **state)
{
    assert_int_equal(call(state, "next", "wren", "--count", "3"), 0);
    table *t = result(state);
    err e = {""};
    double now = NONE, then = NONE, last = NONE;
    assert_int_equal(t->n_rows, 3);
    for (size_t i = 0; i < t->n_rows; i++) {
        must(table_value(t, i, table_column(t, "interval_now"), &now, &e), &e);
        assert_true(isnan(last) || fabs(now - last) < 1e-9);
        must(table_value(t, i, table_column(t, "interval_then"), &then, &e), &e);
        assert_true(then < now);
        last = then;
    }
    table_free(t);
    assert_int_equal(call(state, "next", "kite"), 0);
    assert_says(state, ".out", "takes that are softer, and louder where that is easy");
    assert_int_equal(call(state, "next", "kite", "--count", "0"), 2);
    assert_int_equal(call(state, "next", "wern"), 1);
}

static void pictures(void **state)
{
    char *png = beside(state, ".png");
    assert_int_equal(call(state, "progress", "wren", "-o", png), 0);
    off_t one = size_of(state, ".png");
    assert_true(one > 10000);
    assert_int_equal(call(state, "compare", "owl", "rook", "-o", png), 0);
    assert_true(size_of(state, ".png") > 10000 && size_of(state, ".png") != one);
    free(png);
}

static void each_fault_has_its_sentence_and_code(void **state)
{
    assert_int_equal(call(state, "progress", "wern"), 1);
    assert_says(state, ".said", "wren");
    assert_int_equal(call(state, "progress", "wren", "--since", "soon"), 2);
    assert_says(state, ".said", "2025-03-04");
    assert_int_equal(call(state, "compare", "wren"), 2);
    assert_int_equal(call(state, "compare", "wren", "wren"), 2);
    assert_says(state, ".said", "twice");
    assert_int_equal(call(state, "compare", "owl", "kite"), 1);
    assert_says(state, ".said", "vowel \"a\"");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sessions_and_their_trend),
        cmocka_unit_test(few_sessions),
        cmocka_unit_test(singers_compared),
        cmocka_unit_test(singers_sorted),
        cmocka_unit_test(unlike_scales),
        cmocka_unit_test(levels_that_were_not_sung),
        cmocka_unit_test(levels_that_are_not_known),
        cmocka_unit_test(takes_to_record_next),
        cmocka_unit_test(pictures),
        cmocka_unit_test(each_fault_has_its_sentence_and_code),
    };
    return cmocka_run_group_tests(tests, set_up, drop_studio);
}
