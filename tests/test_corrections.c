/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Flips corrected by hand, and the parts in which takes are judged. Oracles: what was said in so
 * many words; that the order in which takes, corrections and removals came does not matter; that
 * nothing is decoded again which rests on the same things. */
#include "journal/corrections.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/wait.h>

#include <cmocka.h>

#include "fill_journal.h"
#include "journal_file.h"

static const sung one[] = {
    {"wren", "2024-01-01", "a", NULL, -30, NAN, 400, UNSTATED, UNSTATED, DECLARED_NONE, true}};

static verdicts said_of(journal *j, const char *code, const correction *c, size_t n)
{
    err e = {""};
    verdicts v;
    for (size_t i = 0; i < n; i++)
        must(corrections_say(j, code, &c[i], &e), &e);
    must(verdicts_read(j, code, &v, &e), &e);
    return v;
}

static void expect(const verdict *v, double time_s, bool is_flip, flip_direction way,
                   flip_origin from)
{
    assert_true(fabs(v->time_s - time_s) < 1e-9);
    assert_int_equal(v->flip, is_flip);
    assert_int_equal(v->direction, way);
    assert_int_equal(v->origin, from);
}

static void test_what_is_said_last_counts(void **state)
{
    journal *j = open_journal(*state, JOURNAL_WRITE);
    static const correction said[] = {
        {CORRECTION_REMOVE, FLIP_UP, 1.0, 1.0},  {CORRECTION_ADD, FLIP_DOWN, 2.0, 2.0},
        {CORRECTION_CONFIRM, FLIP_UP, 1.1, 1.1}, {CORRECTION_MOVE, FLIP_UP, 4.0, 3.5},
        {CORRECTION_ADD, FLIP_UP, 5.0, 5.0},     {CORRECTION_WITHDRAW, FLIP_UP, 5.1, 5.1},
        {CORRECTION_ADD, FLIP_UP, 6.0, 6.0},     {CORRECTION_MOVE, FLIP_UP, 6.0, 6.1}};
    verdicts v = said_of(j, "aa", said, N_OF(said));
    assert_int_equal(v.n, 5);
    expect(&v.items[0], 1.1, true, FLIP_UP, FLIP_CONFIRMED);
    expect(&v.items[1], 2.0, true, FLIP_DOWN, FLIP_ADDED);
    expect(&v.items[2], 3.5, true, FLIP_UP, FLIP_MOVED);
    expect(&v.items[3], 4.0, false, FLIP_UP, FLIP_HEARD);
    expect(&v.items[4], 6.1, true, FLIP_UP, FLIP_MOVED);
    verdicts_clear(&v);
    v = said_of(j, "ab", NULL, 0);
    assert_int_equal(v.n, 0);
    char *all = ask_sql_in(*state, "SELECT count(*) || ' ' || max(number) FROM corrections");
    assert_string_equal(all, "8 8\n");
    free(all);
    journal_close(j);
}

/* Frames 100 ms apart about a flip up at 1.0 s, one down 0.2 s later, and none at 2.0 s. */
static void test_frames_that_are_pinned(void **state)
{
    journal *j = open_journal(*state, JOURNAL_WRITE);
    static const correction said[] = {{CORRECTION_ADD, FLIP_UP, 1.0, 1.0},
                                      {CORRECTION_ADD, FLIP_DOWN, 1.2, 1.2},
                                      {CORRECTION_REMOVE, FLIP_UP, 2.0, 2.0}};
    verdicts v = said_of(j, "aa", said, 3);
    track *t = track_new("t", 600, 0.005, 0);
    verdicts_pin(&v, t);
    static const struct {
        double time_s;
        int stated;
    } cases[] = {
        {0.845, 0},          {0.855, STATED_M1},   {0.975, STATED_M1},   {0.98, STATED_FLIP},
        {1.02, STATED_FLIP}, {1.03, STATED_M2},    {1.095, STATED_M2},   {1.17, STATED_M2},
        {1.2, STATED_FLIP},  {1.225, STATED_M1},   {1.345, STATED_M1},   {1.355, 0},
        {1.845, 0},          {1.855, STATED_SAME}, {2.145, STATED_SAME}, {2.155, 0}};
    for (size_t i = 0; i < N_OF(cases); i++)
        assert_int_equal(t->stated[(size_t)lround(cases[i].time_s / 0.005)], cases[i].stated);
    verdicts none = {0};
    verdicts_pin(&none, t);
    assert_null(t->stated);
    track_free(t);
    verdicts_clear(&v);
    journal_close(j);
}

static track_store *stored_track(const track *t)
{
    err e = {""};
    track_store *s = track_store_new();
    track_store_begin(s, t->take, t->hop_s, t->declared);
    must(track_store_append(s, t, &e), &e);
    track_store_end(s);
    must(track_store_label(s, 0, 0, t->n, t->reg, t->p_m2, &e), &e);
    return s;
}

static void same_registers(const track *t, const track_store *s)
{
    err e = {""};
    track *other;
    must(track_store_read(s, 0, 0, t->n, &other, &e), &e);
    assert_memory_equal(other->reg, t->reg, t->n);
    for (size_t f = 0; f < t->n; f++)
        assert_true(isnan(t->p_m2[f]) ? isnan(other->p_m2[f]) : other->p_m2[f] == t->p_m2[f]);
    track_free(other);
}

/* The same of a take in a store and in memory. Pitch 60 before 1 s and 64 after, level -30 and -26:
 * a flip that was not heard has their figures; one that was heard nearby keeps its own, at the time
 * stated; others stay as they are. */
static void test_flips_that_count(void **state)
{
    journal *j = open_journal(*state, JOURNAL_WRITE);
    static const correction said[] = {{CORRECTION_ADD, FLIP_UP, 1.0, 1.0},
                                      {CORRECTION_CONFIRM, FLIP_DOWN, 2.0, 2.0},
                                      {CORRECTION_REMOVE, FLIP_UP, 2.5, 2.5}};
    verdicts v = said_of(j, "aa", said, 3);
    track *t = track_new("t", 600, 0.005, 0);
    for (size_t f = 0; f < t->n; f++) {
        t->pitch_st[f] = t->time_s[f] < 1 ? 60 : 64;
        t->level_db[f] = t->time_s[f] < 1 ? -30 : -26;
        t->reg[f] = 1;
    }
    flips found = {0};
    flips_append(&found, (flip){.time_s = 0.5, .confidence = 0.4});
    flips_append(&found, (flip){.time_s = 1.9, .direction = FLIP_UP, .confidence = 0.9});
    flips_append(&found, (flip){.time_s = 2.01,
                                .direction = FLIP_DOWN,
                                .confidence = 0.2,
                                .span_ms = 77,
                                .kind = FLIP_DOUBLING});
    flips_append(&found, (flip){.time_s = 2.6, .direction = FLIP_UP, .confidence = 0.9});
    flips stored = {0};
    for (size_t i = 0; i < found.n; i++)
        flips_append(&stored, found.items[i]);
    track_store *s = stored_track(t);
    err e = {""};
    must(verdicts_apply_stored(&v, s, 0, &stored, &e), &e);
    verdicts_pin(&v, t);
    verdicts_apply(&v, t, &found);
    same_registers(t, s);
    assert_int_equal(stored.n, found.n);
    for (size_t i = 0; i < found.n; i++)
        assert_true(stored.items[i].time_s == found.items[i].time_s &&
                    stored.items[i].origin == found.items[i].origin &&
                    stored.items[i].span_ms == found.items[i].span_ms &&
                    !(stored.items[i].pitch_after_st < found.items[i].pitch_after_st) &&
                    !(stored.items[i].pitch_after_st > found.items[i].pitch_after_st));
    flips_clear(&stored);
    track_store_free(s);
    assert_int_equal(found.n, 3);
    assert_true(found.items[0].time_s == 0.5 && found.items[0].origin == FLIP_HEARD);
    const flip *added = &found.items[1], *confirmed = &found.items[2];
    assert_true(added->time_s == 1 && added->confidence == 1 && added->origin == FLIP_ADDED);
    assert_true(added->pitch_before_st == 60 && added->pitch_after_st == 64);
    assert_true(added->level_before_db == -30 && added->level_after_db == -26);
    assert_true(isnan(added->seam_jnd));
    assert_true(confirmed->time_s == 2 && confirmed->confidence == 1 && confirmed->span_ms == 77);
    assert_int_equal(confirmed->kind, FLIP_PROPER);
    assert_int_equal(t->reg[199], 1);
    assert_int_equal(t->reg[200], 2);
    assert_true(t->p_m2[199] == 0 && t->p_m2[200] == 1);
    flips_clear(&found);
    track_free(t);
    verdicts_clear(&v);
    journal_close(j);
}

static char *shown(const char *file)
{
    return ask_sql_in(file, "SELECT t.file || ' ' || f.time_s || f.direction || f.confidence || "
                            "ifnull(f.stated, '-') FROM flips f JOIN takes t ON t.id = f.take "
                            "WHERE t.judged = 1 ORDER BY t.file, f.number");
}

/* A correction counts at the next judgement, and after the take is heard anew. */
static void test_survives(void **state)
{
    err e = {""};
    journal *j = fill(*state, one, 1);
    journal_take *takes;
    size_t n;
    must(journal_takes(j, "wren", NULL, &takes, &n, &e), &e);
    static const correction up = {CORRECTION_ADD, FLIP_UP, 0.8, 0.8};
    must(corrections_say(j, takes[0].code, &up, &e), &e);
    judge(j, "wren");
    char *first = shown(*state);
    assert_string_equal(first, "00.wav 0.8up1.0add\n");
    store(j, &one[0], 0);
    char *meanwhile = shown(*state);
    judge(j, "wren");
    char *again = shown(*state);
    assert_string_equal(first, meanwhile);
    assert_string_equal(first, again);
    assert_int_equal(ask_number_in(*state, "SELECT count(*) FROM takes"), 1);
    free(first);
    free(meanwhile);
    free(again);
    journal_takes_free(takes, n);
    journal_close(j);
}

/* Ten sessions of two minutes of voice, said to be in each take. */
enum { SESSIONS = 10 };

static void store_session(journal *j, int k)
{
    char date[24];
    snprintf(date, sizeof date, "2024-%02d-01", k + 1);
    const sung s = {"wren", date, "a", NULL, -30, NAN, 40, UNSTATED, UNSTATED, DECLARED_NONE, true};
    store(j, &s, k);
}

static void lengthen(const char *file)
{
    run_sql_in(file, "UPDATE takes SET voiced_s = 130");
}

/* How many parts are judged until none waits, and the first of them. */
static int count_judged(journal *j, long *first)
{
    err e = {""};
    judgement g;
    bool any, stale;
    for (int n = 0;; n++) {
        must(judgement_next(j, "wren", "test", &g, &any, &e), &e);
        if (!any)
            return n;
        if (n == 0)
            *first = g.part;
        assert_int_equal(g.n_before, g.part > 1 ? 2 : 0);
        assert_true(g.before.m.hi ==
                    (g.part > 1 ? (double)g.part : 0)); /* that of the part before */
        g.learnt = (known){.m = {.hi = (double)g.part + 1, .pitch_mid = 60}};
        must(judgement_store(j, &g, "test", "", &stale, &e), &e);
        assert_false(stale);
        judgement_clear(&g);
    }
}

/* Two sessions make a part. A new session costs one part, an old one those from it on, and nothing
 * that is said twice costs anything. */
static void test_parts(void **state)
{
    err e = {""};
    long first = 0;
    journal *j = open_journal(*state, JOURNAL_WRITE);
    for (int k = 0; k < SESSIONS; k++)
        if (k != 3)
            store_session(j, k);
    lengthen(*state);
    assert_int_equal(count_judged(j, &first), 5);
    assert_int_equal(count_judged(j, &first), 0);
    assert_int_equal(ask_number_in(*state, "SELECT count(*) FROM models WHERE layout = 1"
                                           " AND length(model) = 4 * 415"),
                     5);
    store_session(j, 3);
    lengthen(*state);
    assert_int_equal(count_judged(j, &first), 4);
    assert_int_equal(first, 2);
    store_session(j, SESSIONS);
    lengthen(*state);
    assert_int_equal(count_judged(j, &first), 1);
    assert_int_equal(first, 6);
    char *code = ask_sql_in(*state, "SELECT code FROM takes WHERE file = '07.wav'");
    code[strcspn(code, "\n")] = '\0';
    static const correction no = {CORRECTION_REMOVE, FLIP_UP, 0.1, 0.1};
    must(corrections_say(j, code, &no, &e), &e);
    assert_int_equal(count_judged(j, &first), 3);
    assert_int_equal(first, 4);
    run_sql_in(*state, "UPDATE takes SET removed = 1 WHERE file = '10.wav'");
    assert_int_equal(count_judged(j, &first), 0);
    run_sql_in(*state, "UPDATE takes SET removed = 2");
    assert_int_equal(count_judged(j, &first), 0);
    free(code);
    journal_close(j);
}

/* A model that is damaged, or of a layout to come, is none; the rest goes on. */
static void test_a_damaged_model_is_none(void **state)
{
    long first = 0;
    err e = {""};
    judgement g;
    bool any;
    journal *j = open_journal(*state, JOURNAL_WRITE);
    for (int k = 0; k < 4; k++)
        store_session(j, k);
    lengthen(*state);
    assert_int_equal(count_judged(j, &first), 2);
    run_sql_in(*state, "UPDATE models SET rests_on = '' WHERE part = 2");
    static const char *const damage[] = {"model = x'00'", "model = zeroblob(4 * 415)", "layout = 7",
                                         "model = NULL"};
    for (size_t k = 0; k < sizeof damage / sizeof *damage; k++) {
        char *sql = xformat("UPDATE models SET %s WHERE part = 1", damage[k]);
        run_sql_in(*state, sql);
        free(sql);
        must(judgement_next(j, "wren", "test", &g, &any, &e), &e);
        assert_true(any && g.part == 2 && g.before.m.hi <= g.before.m.lo);
        judgement_clear(&g);
        run_sql_in(*state, "UPDATE models SET layout = 1 WHERE part = 1");
    }
    journal_close(j);
}

/* What changes while it is decoded is not stored over. */
static void test_stale(void **state)
{
    err e = {""};
    journal *j = open_journal(*state, JOURNAL_WRITE);
    store_session(j, 0);
    judgement g;
    bool any, stale;
    must(judgement_next(j, "wren", "test", &g, &any, &e), &e);
    assert_true(any);
    store_session(j, 1);
    must(judgement_store(j, &g, "test", "", &stale, &e), &e);
    assert_true(stale);
    judgement_clear(&g);
    assert_int_equal(ask_number_in(*state, "SELECT sum(judged) FROM takes"), 0);
    judge(j, "wren");
    assert_int_equal(ask_number_in(*state, "SELECT sum(judged) FROM takes"), 2);
    journal_close(j);
}

/* While one process decodes, another writes: there is no lock. */
static void test_no_lock_while_decoding(void **state)
{
    err e = {""};
    journal *j = open_journal(*state, JOURNAL_WRITE), *other;
    store_session(j, 0);
    judgement g;
    bool any;
    must(judgement_next(j, "wren", "test", &g, &any, &e), &e);
    must(journal_open(*state, JOURNAL_WRITE, &other, &e), &e);
    must(journal_begin(other, &e), &e);
    store_session(other, 1);
    must(journal_commit(other, &e), &e);
    journal_close(other);
    judgement_clear(&g);
    journal_close(j);
}

/* The names of takes: whole, cut, too short to tell, none. */
static void test_named(void **state)
{
    err e = {""};
    journal_item item;
    journal *j = open_journal(*state, JOURNAL_WRITE);
    for (int k = 0; k < 20; k++)
        store_session(j, k % 12);
    judge(j, "wren");
    journal_take *takes;
    size_t n;
    must(journal_takes(j, "wren", NULL, &takes, &n, &e), &e);
    must(journal_named(j, takes[3].take, false, &item, &e), &e);
    assert_string_equal(item.take.code, takes[3].code);
    journal_item_clear(&item);
    assert_false(journal_named(j, takes[3].take, true, &item, &e));
    assert_non_null(strstr(e.text, "no removed take"));
    assert_false(journal_named(j, "", false, &item, &e));
    assert_false(journal_named(j, "07.wav", false, &item, &e));
    assert_non_null(strstr(e.text, "names no take"));
    for (const char *c = "0123456789abcdef"; *c; c++) {
        char name[2] = {*c, 0};
        size_t begin = 0;
        for (size_t i = 0; i < n; i++)
            begin += takes[i].code[0] == *c;
        bool found = journal_named(j, name, false, &item, &e);
        assert_int_equal(found, begin == 1);
        if (found)
            journal_item_clear(&item);
        else
            assert_non_null(strstr(e.text, begin ? "more digits" : "no take"));
    }
    journal_takes_free(takes, n);
    journal_close(j);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_what_is_said_last_counts, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_frames_that_are_pinned, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_flips_that_count, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_survives, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_parts, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_a_damaged_model_is_none, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_stale, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_no_lock_while_decoding, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_named, new_journal, drop_journal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
