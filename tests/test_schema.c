/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Journals of older versions are brought up to date, and nothing in them is lost. Oracles: a
 * journals that those versions wrote, kept as SQL; what SQLite itself reads from the file. */
#include "base/array.h"
#include "journal/calibrations.h"
#include "journal/schema.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "journal_file.h"

static const char file[] = "build/test_schema.db";

static char *read_text(const char *path)
{
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    char *text = xcalloc(1 << 18, 1);
    size_t n = fread(text, 1, (1 << 18) - 1, f);
    assert_true(n > 0 && n < (1 << 18) - 1);
    fclose(f);
    return text;
}

static void expect_sql(const char *text, const char *want)
{
    char *got = ask_sql_in(file, text);
    assert_string_equal(got, want);
    free(got);
}

static int version(int number)
{
    unlink(file);
    char *name = xformat("tests/journal_v%d.sql", number), *text = read_text(name);
    run_sql_in(file, text);
    free(text);
    free(name);
    return chmod(file, 0600);
}

static int remove_file(void **state)
{
    (void)state;
    return unlink(file);
}

/* Every row of the tables that stay as they are, or only grow, as text. */
static const char all_rows[] =
    "SELECT quote(id) || quote(name) || quote(notes) FROM singers UNION ALL "
    "SELECT quote(id) || quote(singer) || quote(date) || quote(rig) || quote(full_scale_db) || "
    "quote(distance_cm) FROM sessions UNION ALL "
    "SELECT quote(take) || layout || n || hop_s || first_s || quote(full_scale_db) || quote(heard) "
    "FROM frames UNION ALL "
    "SELECT quote(take) || quote(reg) || quote(p_m2) FROM registers UNION ALL "
    "SELECT take || number || time_s || direction || pitch_before_st || pitch_after_st || "
    "level_before_db || level_after_db || span_ms || confidence FROM flips UNION ALL "
    "SELECT take || name || result || figure || unit FROM checks UNION ALL "
    "SELECT singer || vowel || version || answer FROM models UNION ALL "
    "SELECT id || code || judged || session || date_from || file || quote(start_s) || quote(end_s) "
    "|| quote(sound) || name || vowel || quote(hold) || quote(vary) || quote(declared) || seconds "
    "|| voiced_s || clipped_runs || dc || peak || egg || settings || version FROM takes";

/* Corrections before version 3, which were of a row of takes, and after. */
static const char old_corrections[] =
    "SELECT t.code || c.number || c.action || ifnull(c.direction, 'up') || c.time_s || "
    "ifnull(c.to_s, c.time_s) FROM corrections c JOIN takes t ON t.id = c.take ORDER BY 1";
static const char new_corrections[] =
    "SELECT code || number || action || direction || time_s || to_s FROM corrections ORDER BY 1";

static void nothing_is_lost(int from, journal_mode mode)
{
    static const char unweighted[] = "SELECT quote(lzeq_db) FROM takes";
    version(from);
    char *before = ask_sql_in(file, all_rows);
    char *said = ask_sql_in(file, from < 3 ? old_corrections : new_corrections);
    char *level = ask_sql_in(file, from == 1 ? "SELECT quote(leq_db) FROM takes" : unweighted);
    journal_close(open_journal(file, mode));
    char *after = ask_sql_in(file, all_rows);
    assert_true(strlen(before) > 15000 && strlen(said) > 70);
    assert_string_equal(before, after);
    expect_sql(new_corrections, said);
    expect_sql(unweighted, level);
    expect_sql("PRAGMA user_version", "4\n");
    expect_sql("PRAGMA application_id", "1399153005\n");
    expect_sql("PRAGMA integrity_check", "ok\n");
    expect_sql("SELECT count(*) FROM pragma_foreign_key_check", "0\n");
    free(before);
    free(after);
    free(said);
    free(level);
}

static void test_nothing_is_lost(void **state)
{
    (void)state;
    for (int from = 1; from < SCHEMA_VERSION; from++) {
        nothing_is_lost(from, JOURNAL_READ);
        nothing_is_lost(from, JOURNAL_WRITE);
    }
}

/* What version 1 did not measure is not made up. */
static void test_unknown_stays_unknown(void **state)
{
    (void)state;
    version(1);
    journal_close(open_journal(file, JOURNAL_READ));
    expect_sql("SELECT count(leq_db) + count(laeq_db) + count(lcfmax_db) FROM takes", "0\n");
    expect_sql("SELECT count(channel) + sum(microphone) FROM takes", "0\n");
}

/* A calibration of version 3 stays, with what it did not know left open. */
static void test_calibration_stays(void **state)
{
    (void)state;
    version(3);
    journal *j = open_journal(file, JOURNAL_READ);
    journal_calibration *items;
    size_t n;
    err e;
    assert_true(calibrations_read(j, "studio", &items, &n, &e));
    assert_int_equal(n, 1);
    assert_string_equal(items[0].date, "2025-03-01");
    assert_true(items[0].full_scale_db == 110 && items[0].steady_db == 0.125);
    assert_true(isnan(items[0].distance_cm));
    assert_string_equal(items[0].made, "");
    calibrations_free(items, n);
    journal_close(j);
}

/* Columns and indexes are those of a journal begun now. */
static void test_like_a_new_one(void **state)
{
    (void)state;
    static const char columns[] =
        "SELECT m.name || '.' || p.name || ' ' || p.type || p.\"notnull\" || p.pk || "
        "quote(p.dflt_value) FROM sqlite_schema m JOIN pragma_table_info(m.name) p WHERE m.type = "
        "'table' UNION ALL SELECT name FROM sqlite_schema WHERE type = 'index' ORDER BY 1";
    for (int from = 1; from < SCHEMA_VERSION; from++) {
        version(from);
        journal_close(open_journal(file, JOURNAL_READ));
        char *renewed = ask_sql_in(file, columns);
        unlink(file);
        journal_close(open_journal(file, JOURNAL_WRITE));
        expect_sql(columns, renewed);
        free(renewed);
    }
}

static void is_read(int from)
{
    version(from);
    journal *j = open_journal(file, JOURNAL_READ);
    journal_item *items;
    size_t n;
    err e;
    assert_true(journal_tracks(j, "wren", NULL, &items, &n, &e));
    assert_int_equal(n, 2);
    const journal_take *t = &items[0].take;
    assert_string_equal(t->file, "t220.wav");
    assert_true(isnan(t->leq_db) == (from == 1) && isnan(t->lcsmax_db) == (from == 1));
    assert_true(fabs(t->lzeq_db - (from == 1 ? 93.15203457 : 88.1)) < (from == 1 ? 1e-6 : 0.1));
    assert_int_equal(t->microphone, 0);
    assert_int_equal(items[0].track->n, 41);
    assert_true(fabs(items[0].track->pitch_st[20] - 57) < 0.1); /* 220 Hz */
    assert_int_equal(items[0].flips.n, 1);
    assert_true(items[0].flips.items[0].pitch_after_st == 62.5);
    assert_int_equal(items[0].flips.items[0].origin, FLIP_HEARD);
    journal_items_free(items, n);
    journal_close(j);
}

static void test_is_read(void **state)
{
    (void)state;
    for (int from = 1; from < SCHEMA_VERSION; from++)
        is_read(from);
}

/* What goes wrong half-way leaves the file as it was. */
static void test_all_or_nothing(void **state)
{
    (void)state;
    version(1);
    run_sql_in(file, "ALTER TABLE takes ADD COLUMN microphone INTEGER");
    char *before = ask_sql_in(file, "SELECT sql FROM sqlite_schema"),
         *level = ask_sql_in(file, "SELECT leq_db FROM takes");
    journal *j = NULL;
    err e = {""};
    assert_false(journal_open(file, JOURNAL_WRITE, &j, &e));
    assert_null(j);
    assert_non_null(strstr(e.text, "microphone"));
    expect_sql("PRAGMA user_version", "1\n");
    expect_sql("SELECT sql FROM sqlite_schema", before);
    expect_sql("SELECT leq_db FROM takes", level);
    free(before);
    free(level);
}

/* In a process of its own, at its word when GO is a pipe; the process fails where the journal does
 * not open. */
static void open_aside(journal_mode mode, const int *go)
{
    if (fork() != 0)
        return;
    char word;
    journal *j = NULL;
    err e;
    bool fine = (!go || read(go[0], &word, 1) == 1) && journal_open(file, mode, &j, &e);
    journal_close(j);
    _exit(fine ? 0 : 1);
}

static int say_go;

/* While an empty file is looked at, another process has 0.2 s to begin the journal. */
static int begin_meanwhile(unsigned what, void *c, void *statement, void *text)
{
    (void)what, (void)c, (void)statement;
    if (say_go && strcmp(text, "PRAGMA user_version") == 0) {
        assert_int_equal(write(say_go, "!", 1), 1);
        say_go = 0;
        nanosleep(&(struct timespec){.tv_nsec = 200000000}, NULL);
    }
    return 0;
}

static int watch(sqlite3 *db, char **why, const struct sqlite3_api_routines *api)
{
    (void)why, (void)api;
    return sqlite3_trace_v2(db, SQLITE_TRACE_STMT, begin_meanwhile, NULL);
}

static void test_begun_meanwhile(void **state)
{
    (void)state;
    int go[2];
    unlink(file);
    assert_int_equal(pipe(go), 0);
    open_aside(JOURNAL_WRITE, go);
    say_go = go[1];
    sqlite3_auto_extension((void (*)(void))watch);
    journal *j = open_journal(file, JOURNAL_WRITE);
    sqlite3_reset_auto_extension();
    assert_int_equal(say_go, 0);
    journal_close(j);
    wait_for_all();
    close(go[0]);
    close(go[1]);
    expect_sql("PRAGMA user_version", "4\n");
}

static void test_many_at_once(void **state)
{
    (void)state;
    enum { PROCESSES = 6 };
    version(1);
    for (int k = 0; k < PROCESSES; k++)
        open_aside(k % 2 ? JOURNAL_READ : JOURNAL_WRITE, NULL);
    wait_for_all();
    expect_sql("SELECT count(lzeq_db) FROM takes", "3\n");
    expect_sql("PRAGMA user_version", "4\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_nothing_is_lost),   cmocka_unit_test(test_unknown_stays_unknown),
        cmocka_unit_test(test_calibration_stays), cmocka_unit_test(test_like_a_new_one),
        cmocka_unit_test(test_is_read),           cmocka_unit_test(test_all_or_nothing),
        cmocka_unit_test(test_begun_meanwhile),   cmocka_unit_test(test_many_at_once),
    };
    return cmocka_run_group_tests(tests, NULL, remove_file);
}
