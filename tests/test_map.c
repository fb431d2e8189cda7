/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The command map, as a person calls it: table, notes, picture, exit codes. Oracle: slides that
 * were made to flip at 64 going up and at 61 coming down, whatever the level. */
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

static const sung studio[] = {
    {"wren", "2025-01-01", "a", NULL, -40, (double)NAN, 900, LEVEL, PITCH, DECLARED_NONE, true},
    {"wren", "2025-01-01", "a", NULL, -35, (double)NAN, 900, LEVEL, PITCH, DECLARED_NONE, true},
    {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 900, LEVEL, PITCH, DECLARED_NONE, true},
    {"wren", "2025-02-01", "a", NULL, -25, (double)NAN, 900, LEVEL, PITCH, DECLARED_NONE, true},
    {"wren", "2025-02-01", "a", NULL, -20, (double)NAN, 900, LEVEL, PITCH, DECLARED_NONE, true},
    {"wren", "2025-02-01", "a", NULL, -15, (double)NAN, 900, LEVEL, PITCH, DECLARED_NONE, true},
    {"wren", "2025-02-01", "a", NULL, -20, (double)NAN, 90, REGISTER, PITCH, DECLARED_NONE, false},
    {"wren", "2025-02-01", "a", NULL, -20, (double)NAN, 90, PITCH, REGISTER, DECLARED_NONE, false},
    {"wren", "2025-02-01", "o", NULL, -20, (double)NAN, 90, LEVEL, PITCH, DECLARED_NONE, false},
    {"owl", "2025-02-01", "", NULL, 70, 110, 900, LEVEL, PITCH, DECLARED_NONE, true},
    {"mute", "2025-02-01", "a", NULL, -20, (double)NAN, 1, LEVEL, PITCH, DECLARED_NONE, false},
};

static int set_up(void **state)
{
    return fill_studio(state, studio, N_OF(studio));
}

static double estimate(const table *t, const char *parameter)
{
    err e = {""};
    double value = (double)NAN;
    for (size_t i = 0; i < t->n_rows; i++)
        if (strcmp(table_cell(t, i, table_column(t, "parameter")), parameter) == 0)
            must(table_value(t, i, table_column(t, "estimate"), &value, &e), &e);
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

static void the_table_is_that_of_fit(void **state)
{
    static const char *const rows[] = {
        "up.pitch",   "up.slope", "up.spread", "down.pitch", "down.slope",    "down.spread",
        "hysteresis", "up.leap",  "down.leap", "zone",       "up.least_step", "down.least_step"};
    assert_int_equal(call(state, "map", "wren"), 0);
    table *t = result(state);
    assert_int_equal(t->n_rows, N_OF(rows));
    for (size_t i = 0; i < N_OF(rows); i++)
        assert_string_equal(table_cell(t, i, table_column(t, "parameter")), rows[i]);
    assert_true(fabs(estimate(t, "up.pitch") - 64) < 0.3);
    assert_true(fabs(estimate(t, "down.pitch") - 61) < 0.3);
    assert_true(fabs(estimate(t, "hysteresis") - 3) < 0.4);
    assert_string_equal(table_note_value(t, "vowel"), "a (8 takes); others: o (1)");
    assert_string_equal(table_note_value(t, "level_scale"), "dB re session median");
    assert_string_equal(table_note_value(t, "sessions"), "2");
    assert_string_equal(table_note_value(t, "left_out_register_held"), "1");
    assert_string_equal(table_note_value(t, "left_out_flips_at_will"), "1");
    table_free(t);
}

static void pitches_are_stated_at_the_level_asked_for(void **state)
{
    assert_int_equal(call(state, "map", "wren", "--at", "-3.5"), 0);
    table *t = result(state);
    assert_string_equal(table_note_value(t, "at_db"), "-3.50");
    assert_null(table_note_value(t, "far"));
    table_free(t);
    assert_int_equal(call(state, "map", "owl"), 0);
    t = result(state);
    assert_string_equal(table_note_value(t, "at_db"), "70.00");
    assert_string_equal(table_note_value(t, "level_scale"), "dB SPL (Z, 30 cm)");
    assert_string_equal(table_note_value(t, "vowel"), "not stated (1 take)");
    table_free(t);
}

static void a_picture_is_drawn_beside_the_table(void **state)
{
    char *png = beside(state, ".png");
    assert_int_equal(call(state, "map", "wren", "-o", png), 0);
    off_t one = size_of(state, ".png");
    assert_true(one > 10000);
    assert_says(state, ".out", "up.pitch\t");
    assert_int_equal(call(state, "map", "wren", "--sessions", "-o", png), 0);
    assert_true(size_of(state, ".png") > 10000 && size_of(state, ".png") != one);
    assert_int_equal(size_of(state, ".said"), 0);
    free(png);
}

static void a_pipe_gets_the_table_alone(void **state)
{
    assert_int_equal(call(state, "map", "wren", "--format", "json"), 0);
    assert_says(state, ".out", "\"parameter\"");
    assert_int_equal(call(state, "map", "wren", "--sessions"), 0);
    table *t = result(state);
    assert_int_equal(t->n_rows, 12);
    table_free(t);
}

/* The slides go from F#3 to A#4 on one level each; both registers between 61 and 64. */
static void floors_and_ceilings(void **state)
{
    assert_int_equal(call(state, "map", "owl", "--ranges"), 0);
    table *t = result(state);
    assert_int_equal(t->n_rows, (64 - 54 + 1) + (70 - 61 + 1));
    for (size_t i = 0; i < t->n_rows; i++) {
        assert_string_equal(table_cell(t, i, table_column(t, "floor_db")), "70.0");
        assert_string_equal(table_cell(t, i, table_column(t, "ceiling_db")), "70.0");
        assert_string_equal(table_cell(t, i, table_column(t, "floor_lo95")), "");
    }
    assert_string_equal(table_cell(t, 0, table_column(t, "note")), "F#3");
    table_free(t);
}

static void each_fault_has_its_sentence_and_code(void **state)
{
    char *png = beside(state, ".png"), *was = xstrdup(getenv("PATH"));
    assert_int_equal(call(state, "map", "wern"), 1);
    assert_says(state, ".said", "wren");
    assert_int_equal(call(state, "map", "wren", "--vowel", "u"), 1);
    assert_says(state, ".said", "\"u\"");
    assert_int_equal(call(state, "map", "mute"), 3);
    assert_int_equal(call(state, "map", "wren", "-o", "map.gif"), 2);
    assert_says(state, ".said", ".png, .svg or .pdf");
    assert_int_equal(call(state, "map"), 2);
    assert_int_equal(call(state, "map", "wren", "-o", "/nonexistent/map.png"), 1);
    assert_says(state, ".said", "/nonexistent/map.png");
    unlink(png);
    setenv("PATH", "/nonexistent", 1);
    int code = call(state, "map", "wren", "-o", png);
    setenv("PATH", was, 1);
    assert_int_equal(code, 1);
    assert_says(state, ".said", "gnuplot");
    assert_says(state, ".out", "up.pitch\t");
    assert_int_equal(size_of(state, ".png"), -1);
    free(was);
    free(png);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_table_is_that_of_fit),
        cmocka_unit_test(pitches_are_stated_at_the_level_asked_for),
        cmocka_unit_test(a_picture_is_drawn_beside_the_table),
        cmocka_unit_test(a_pipe_gets_the_table_alone),
        cmocka_unit_test(floors_and_ceilings),
        cmocka_unit_test(each_fault_has_its_sentence_and_code),
    };
    return cmocka_run_group_tests(tests, set_up, drop_studio);
}
