/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The plane of a singer's takes. Oracle: medians and choices worked out by hand for takes of
 * constant level put into a journal. */
#include "journal/plane.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "fill_journal.h"

static const double as_stored_db = 0.02; /* the journal keeps levels to a hundredth */

static double first_voiced_level(const plane *p, size_t take)
{
    return p->paths[take].level_db[0];
}

/* Two sessions, the second 10 dB up on the recorder: the medians, over both vowels, take that away;
 * silence stays silence and unvoiced frames do not count. */
static void levels_are_re_each_sessions_median(void **state)
{
    const sung takes[] = {
        {"wren", "2025-01-01", "a", NULL, -40, (double)NAN, 100, LEVEL, PITCH, DECLARED_NONE,
         false},
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 200, LEVEL, PITCH, DECLARED_NONE,
         false},
        {"wren", "2025-01-01", "o", NULL, -20, (double)NAN, 500, LEVEL, PITCH, DECLARED_NONE,
         false},
        {"wren", "2025-02-01", "a", NULL, -10, (double)NAN, 100, LEVEL, PITCH, DECLARED_NONE,
         false},
        {"wren", "2025-02-01", "a", NULL, -30, (double)NAN, 50, LEVEL, PITCH, DECLARED_NONE, false},
        {"owl", "2025-01-01", "a", NULL, -70, (double)NAN, 900, LEVEL, PITCH, DECLARED_NONE, false},
    };
    err e = {""};
    plane p;
    journal *j = fill(*state, takes, N_OF(takes));
    must(plane_load(j, "wren", NULL, &p, &e), &e);
    assert_string_equal(p.vowel, "a");
    assert_int_equal(p.n_vowels, 2);
    assert_false(p.calibrated);
    assert_string_equal(plane_level_scale(&p), "dB re session median");
    assert_int_equal(p.n, 4);
    assert_int_equal(p.n_sessions, 2);
    assert_string_equal(p.sessions[0].date, "2025-01-01");
    assert_int_equal(p.sessions[0].n, 2);
    assert_true(fabs(p.sessions[0].median_db - -20) < as_stored_db);
    assert_true(fabs(p.sessions[1].median_db - -10) < as_stored_db);
    const double wanted[4] = {-20, -10, 0, -20};
    for (size_t i = 0; i < 4; i++)
        assert_true(fabs(first_voiced_level(&p, i) - wanted[i]) < as_stored_db);
    assert_true(p.paths[0].level_db[p.paths[0].n - 1] == -INFINITY);
    plane_clear(&p);
    journal_close(j);
}

static void levels_are_spl_when_all_are_calibrated(void **state)
{
    const sung takes[] = {
        {"wren", "2025-01-01", "a", NULL, 70, 110, 100, LEVEL, PITCH, DECLARED_NONE, false},
        {"wren", "2025-02-01", "a", NULL, 80, 100, 100, LEVEL, PITCH, DECLARED_NONE, false},
        {"wren", "2025-02-02", "o", NULL, -30, (double)NAN, 10, LEVEL, PITCH, DECLARED_NONE, false},
        {"owl", "2025-01-01", "a", NULL, 70, 110, 100, LEVEL, PITCH, DECLARED_NONE, false},
        {"owl", "2025-02-01", "a", NULL, -30, (double)NAN, 100, LEVEL, PITCH, DECLARED_NONE, false},
    };
    err e = {""};
    plane p;
    journal *j = fill(*state, takes, N_OF(takes));
    must(plane_load(j, "wren", NULL, &p, &e), &e);
    assert_true(p.calibrated);
    assert_string_equal(plane_level_scale(&p), "dB SPL (Z, 30 cm)");
    assert_true(fabs(first_voiced_level(&p, 0) - 70) < as_stored_db);
    assert_true(fabs(first_voiced_level(&p, 1) - 80) < as_stored_db);
    plane_clear(&p);
    must(plane_load(j, "owl", NULL, &p, &e), &e);
    assert_false(p.calibrated);
    assert_true(fabs(first_voiced_level(&p, 0)) < as_stored_db);
    assert_true(fabs(first_voiced_level(&p, 1)) < as_stored_db);
    plane_clear(&p);
    journal_close(j);
}

static void only_takes_in_which_the_flip_was_let_happen_count(void **state)
{
    const sung takes[] = {
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, LEVEL, PITCH, DECLARED_NONE, false},
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, UNSTATED, UNSTATED, DECLARED_NONE,
         false},
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, 0, PITCH | REGISTER, DECLARED_NONE,
         false},
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, REGISTER, PITCH, DECLARED_NONE,
         false},
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, PITCH | LEVEL, REGISTER,
         DECLARED_NONE, false},
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, UNSTATED, UNSTATED, DECLARED_M1,
         false},
    };
    const plane_use wanted[] = {PLANE_COUNTS, PLANE_COUNTS,  PLANE_COUNTS,
                                PLANE_HELD,   PLANE_AT_WILL, PLANE_HELD};
    err e = {""};
    plane p;
    size_t counting;
    journal *j = fill(*state, takes, N_OF(takes));
    must(plane_load(j, "wren", "a", &p, &e), &e);
    assert_int_equal(p.n, N_OF(takes));
    for (size_t i = 0; i < p.n; i++)
        assert_int_equal(p.use[i], wanted[i]);
    assert_int_equal(plane_count(&p, PLANE_COUNTS), 3);
    assert_int_equal(plane_count(&p, PLANE_HELD), 2);
    assert_int_equal(plane_count(&p, PLANE_AT_WILL), 1);
    path *paths = plane_counting(&p, 1, 3, &counting);
    assert_int_equal(counting, 2);
    assert_ptr_equal(paths[1].level_db, p.paths[2].level_db);
    free(paths);
    plane_clear(&p);
    journal_close(j);
}

/* Two set-ups on one day are two sessions, each with its own median, however the takes' file names
 * interleave. */
static void sessions_of_one_day_stay_apart(void **state)
{
    const sung takes[] = {
        {"wren", "2025-01-01", "a", "near", -20, (double)NAN, 50, LEVEL, PITCH, DECLARED_NONE,
         false},
        {"wren", "2025-01-01", "a", "far", -40, (double)NAN, 50, LEVEL, PITCH, DECLARED_NONE,
         false},
        {"wren", "2025-01-01", "a", "near", -20, (double)NAN, 50, LEVEL, PITCH, DECLARED_NONE,
         false},
        {"wren", "2025-01-01", "a", "far", -40, (double)NAN, 50, LEVEL, PITCH, DECLARED_NONE,
         false},
    };
    err e = {""};
    plane p;
    journal *j = fill(*state, takes, N_OF(takes));
    must(plane_load(j, "wren", NULL, &p, &e), &e);
    assert_int_equal(p.n_sessions, 2);
    for (size_t s = 0; s < 2; s++) {
        assert_int_equal(p.sessions[s].first, 2 * s);
        assert_int_equal(p.sessions[s].n, 2);
    }
    for (size_t i = 0; i < 4; i++)
        assert_true(fabs(first_voiced_level(&p, i)) < as_stored_db);
    plane_clear(&p);
    journal_close(j);
}

static void who_and_what_is_not_there_gets_a_sentence(void **state)
{
    const sung takes[] = {
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, LEVEL, PITCH, DECLARED_NONE, false}};
    err e = {""};
    plane p;
    journal *j = fill(*state, takes, N_OF(takes));
    assert_false(plane_load(j, "wern", NULL, &p, &e));
    assert_non_null(strstr(e.text, "wren"));
    assert_false(plane_load(j, "wren", "u", &p, &e));
    assert_non_null(strstr(e.text, "\"u\""));
    assert_non_null(strstr(e.text, "\"a\""));
    journal_close(j);
}

#define WITH_JOURNAL(f) cmocka_unit_test_setup_teardown(f, new_journal, drop_journal)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH_JOURNAL(levels_are_re_each_sessions_median),
        WITH_JOURNAL(levels_are_spl_when_all_are_calibrated),
        WITH_JOURNAL(only_takes_in_which_the_flip_was_let_happen_count),
        WITH_JOURNAL(sessions_of_one_day_stay_apart),
        WITH_JOURNAL(who_and_what_is_not_there_gets_a_sentence),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
