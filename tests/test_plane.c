/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The plane of a singer's takes. Oracle: medians and choices worked out by hand for takes of
 * constant level put into a journal. */
#include "base/array.h"
#include "journal/plane.h"
#include "journal/store.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

enum { PITCH = 1, LEVEL = 2, REGISTER = 4, UNSTATED = -1 };

static const double as_stored_db = 0.02; /* the journal keeps levels to a hundredth */

typedef struct sung {
    const char *singer, *date, *vowel, *rig;
    double level_db, full_scale_db;
    int frames, hold, vary;
    declared_register declared;
} sung;

static int new_journal(void **state)
{
    char *file = xstrdup("/tmp/test_plane_XXXXXX");
    int fd = mkstemp(file);
    if (fd < 0)
        return -1;
    close(fd);
    unlink(file);
    *state = file;
    return 0;
}

static int drop_journal(void **state)
{
    static const char *const parts[] = {"", "-wal", "-shm"};
    for (size_t i = 0; i < 3; i++) {
        char *part = xformat("%s%s", (char *)*state, parts[i]);
        unlink(part);
        free(part);
    }
    free(*state);
    return 0;
}

/* Frames of constant level, three in five of them unvoiced and louder, the last one silent. */
static track *track_of(const sung *s)
{
    track *t = track_new("take", (size_t)s->frames, 0.005, 0);
    t->full_scale_db = s->full_scale_db;
    t->declared = s->declared;
    for (size_t k = 0; k < t->n; k++) {
        bool voiced = k % 5 < 2 && k + 1 < t->n;
        t->level_db[k] = k + 1 == t->n ? -INFINITY : s->level_db + (voiced ? 0 : 30);
        t->pitch_st[k] = voiced ? 60 : (double)NAN;
        t->reg[k] = voiced ? 1 : 0;
        t->p_m2[k] = voiced ? 0.1 : (double)NAN;
        t->voicing[k] = voiced;
    }
    return t;
}

static void must(bool ok, const err *e)
{
    if (!ok)
        fail_msg("%s", e->text);
}

static void store(journal *j, const sung *s, int number)
{
    err e = {""};
    char code[JOURNAL_CODE], file[32], empty[1] = "";
    track *t = track_of(s);
    journal_take take = {.singer = (char *)s->singer,
                         .date = (char *)s->date,
                         .rig = (char *)(s->rig ? s->rig : ""),
                         .full_scale_db = s->full_scale_db,
                         .distance_cm = 30,
                         .start_s = (double)NAN,
                         .end_s = (double)NAN,
                         .name = empty,
                         .vowel = (char *)s->vowel,
                         .hold = s->hold,
                         .vary = s->vary,
                         .declared = s->declared,
                         .settings = empty,
                         .version = empty};
    snprintf(file, sizeof file, "%02d.wav", number);
    take.file = file;
    take.sound[0] = (unsigned char)number;
    journal_code(s->singer, take.sound, take.start_s, take.end_s, code);
    take.code = code;
    must(journal_store(j, &take, t, &e), &e);
    track_free(t);
}

static void judge(journal *j, const char *singer, const char *vowel)
{
    err e = {""};
    journal_item *items;
    size_t n;
    must(journal_heard(j, singer, vowel, &items, &n, &e), &e);
    for (size_t i = 0; i < n; i++) /* what the decoder would fill in */
        for (size_t k = 0; k < items[i].track->n; k++)
            items[i].track->reg[k] = isfinite(items[i].track->pitch_st[k]);
    must(journal_judge(j, singer, vowel, items, n, "test", "", &e), &e);
    journal_items_free(items, n);
}

static journal *fill(const char *file, const sung *takes, size_t n)
{
    err e = {""};
    journal *j;
    must(journal_open(file, JOURNAL_WRITE, &j, &e), &e);
    must(journal_begin(j, &e), &e);
    for (size_t i = 0; i < n; i++)
        store(j, &takes[i], (int)i);
    for (size_t i = 0; i < n; i++)
        judge(j, takes[i].singer, takes[i].vowel);
    must(journal_commit(j, &e), &e);
    return j;
}

static double first_voiced_level(const plane *p, size_t take)
{
    return p->paths[take].level_db[0];
}

#define N_OF(a) (sizeof(a) / sizeof *(a))

/* Two sessions, the second 10 dB up on the recorder: the medians, over both vowels, take that away;
 * silence stays silence and unvoiced frames do not count. */
static void levels_are_re_each_sessions_median(void **state)
{
    const sung takes[] = {
        {"wren", "2025-01-01", "a", NULL, -40, (double)NAN, 100, LEVEL, PITCH, DECLARED_NONE},
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 200, LEVEL, PITCH, DECLARED_NONE},
        {"wren", "2025-01-01", "o", NULL, -20, (double)NAN, 500, LEVEL, PITCH, DECLARED_NONE},
        {"wren", "2025-02-01", "a", NULL, -10, (double)NAN, 100, LEVEL, PITCH, DECLARED_NONE},
        {"wren", "2025-02-01", "a", NULL, -30, (double)NAN, 50, LEVEL, PITCH, DECLARED_NONE},
        {"owl", "2025-01-01", "a", NULL, -70, (double)NAN, 900, LEVEL, PITCH, DECLARED_NONE},
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
        {"wren", "2025-01-01", "a", NULL, 70, 110, 100, LEVEL, PITCH, DECLARED_NONE},
        {"wren", "2025-02-01", "a", NULL, 80, 100, 100, LEVEL, PITCH, DECLARED_NONE},
        {"wren", "2025-02-02", "o", NULL, -30, (double)NAN, 10, LEVEL, PITCH, DECLARED_NONE},
        {"owl", "2025-01-01", "a", NULL, 70, 110, 100, LEVEL, PITCH, DECLARED_NONE},
        {"owl", "2025-02-01", "a", NULL, -30, (double)NAN, 100, LEVEL, PITCH, DECLARED_NONE},
    };
    err e = {""};
    plane p;
    journal *j = fill(*state, takes, N_OF(takes));
    must(plane_load(j, "wren", NULL, &p, &e), &e);
    assert_true(p.calibrated);
    assert_string_equal(plane_level_scale(&p), "dB SPL at 30 cm");
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
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, LEVEL, PITCH, DECLARED_NONE},
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, UNSTATED, UNSTATED, DECLARED_NONE},
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, 0, PITCH | REGISTER, DECLARED_NONE},
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, REGISTER, PITCH, DECLARED_NONE},
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, PITCH | LEVEL, REGISTER,
         DECLARED_NONE},
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, UNSTATED, UNSTATED, DECLARED_M1},
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
        {"wren", "2025-01-01", "a", "near", -20, (double)NAN, 50, LEVEL, PITCH, DECLARED_NONE},
        {"wren", "2025-01-01", "a", "far", -40, (double)NAN, 50, LEVEL, PITCH, DECLARED_NONE},
        {"wren", "2025-01-01", "a", "near", -20, (double)NAN, 50, LEVEL, PITCH, DECLARED_NONE},
        {"wren", "2025-01-01", "a", "far", -40, (double)NAN, 50, LEVEL, PITCH, DECLARED_NONE},
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
        {"wren", "2025-01-01", "a", NULL, -30, (double)NAN, 9, LEVEL, PITCH, DECLARED_NONE}};
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
