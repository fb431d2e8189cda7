/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Journals of older versions are brought up to date, and nothing in them is lost. Oracles: a
 * journal that version 1 wrote, kept as SQL; what SQLite itself reads from the file. */
#include "base/array.h"
#include "journal/journal.h"
#include "journal/schema.h"

#include <math.h>
#include <setjmp.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>

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

static void run_sql(const char *text)
{
    sqlite3 *db;
    assert_int_equal(sqlite3_open(file, &db), SQLITE_OK);
    assert_int_equal(sqlite3_exec(db, text, NULL, NULL, NULL), SQLITE_OK);
    assert_int_equal(sqlite3_close(db), SQLITE_OK);
}

/* The first column of all rows, a line each; the caller frees. */
static char *ask_sql(const char *text)
{
    sqlite3 *db;
    sqlite3_stmt *s;
    char *all = xstrdup("");
    assert_int_equal(sqlite3_open(file, &db), SQLITE_OK);
    assert_int_equal(sqlite3_prepare_v2(db, text, -1, &s, NULL), SQLITE_OK);
    while (sqlite3_step(s) == SQLITE_ROW) {
        char *longer = xformat("%s%s\n", all, (const char *)sqlite3_column_text(s, 0));
        free(all);
        all = longer;
    }
    sqlite3_finalize(s);
    sqlite3_close(db);
    return all;
}

static void expect_sql(const char *text, const char *want)
{
    char *got = ask_sql(text);
    assert_string_equal(got, want);
    free(got);
}

static int version_1(void **state)
{
    (void)state;
    unlink(file);
    char *text = read_text("tests/journal_v1.sql");
    run_sql(text);
    free(text);
    return chmod(file, 0600);
}

static int remove_file(void **state)
{
    (void)state;
    return unlink(file);
}

static journal *open_or_fail(journal_mode mode)
{
    journal *j;
    err e;
    if (!journal_open(file, mode, &j, &e))
        fail_msg("%s", e.text);
    return j;
}

/* Every row of every table but `takes`, which grows, as text. */
static const char all_rows[] =
    "SELECT quote(id) || quote(name) || quote(notes) FROM singers UNION ALL "
    "SELECT quote(id) || quote(singer) || quote(date) || quote(rig) || quote(full_scale_db) || "
    "quote(distance_cm) FROM sessions UNION ALL "
    "SELECT quote(take) || layout || n || hop_s || first_s || quote(full_scale_db) || quote(heard) "
    "FROM frames UNION ALL "
    "SELECT quote(take) || quote(reg) || quote(p_m2) FROM registers UNION ALL "
    "SELECT take || number || time_s || direction || pitch_before_st || pitch_after_st || "
    "level_before_db || level_after_db || span_ms || confidence FROM flips UNION ALL "
    "SELECT take || number || action || direction || time_s || to_s FROM corrections UNION ALL "
    "SELECT take || name || result || figure || unit FROM checks UNION ALL "
    "SELECT singer || vowel || version || answer || quote(model) FROM models UNION ALL "
    "SELECT id || code || judged || session || date_from || file || quote(start_s) || quote(end_s) "
    "|| quote(sound) || name || vowel || quote(hold) || quote(vary) || quote(declared) || seconds "
    "|| voiced_s || clipped_runs || dc || peak || egg || settings || version FROM takes";

static void test_nothing_is_lost(void **state)
{
    (void)state;
    static const journal_mode modes[] = {JOURNAL_READ, JOURNAL_WRITE};
    for (size_t k = 0; k < 2; k++) {
        version_1(NULL);
        char *before = ask_sql(all_rows), *level = ask_sql("SELECT quote(leq_db) FROM takes");
        journal_close(open_or_fail(modes[k]));
        char *after = ask_sql(all_rows), *moved = ask_sql("SELECT quote(lzeq_db) FROM takes");
        assert_true(strlen(before) > 15000);
        assert_string_equal(before, after);
        assert_string_equal(level, moved);
        expect_sql("SELECT count(leq_db) + count(laeq_db) + count(lcfmax_db) FROM takes", "0\n");
        expect_sql("PRAGMA user_version", "2\n");
        expect_sql("PRAGMA application_id", "1399153005\n");
        expect_sql("PRAGMA integrity_check", "ok\n");
        free(before);
        free(after);
        free(level);
        free(moved);
    }
}

/* The columns in their order, with their types, are those of a journal begun now. */
static void test_like_a_new_one(void **state)
{
    (void)state;
    static const char columns[] =
        "SELECT m.name || '.' || p.name || ' ' || p.type || p.\"notnull\" || p.pk FROM "
        "sqlite_schema m JOIN pragma_table_info(m.name) p WHERE m.type = 'table' ORDER BY "
        "m.name, p.cid";
    journal_close(open_or_fail(JOURNAL_READ));
    char *renewed = ask_sql(columns);
    unlink(file);
    journal_close(open_or_fail(JOURNAL_WRITE));
    char *fresh = ask_sql(columns);
    assert_string_equal(renewed, fresh);
    free(renewed);
    free(fresh);
}

static void test_is_read(void **state)
{
    (void)state;
    journal *j = open_or_fail(JOURNAL_READ);
    journal_item *items;
    size_t n;
    err e;
    assert_true(journal_tracks(j, "wren", NULL, &items, &n, &e));
    assert_int_equal(n, 2);
    const journal_take *t = &items[0].take;
    assert_string_equal(t->file, "t220.wav");
    assert_true(isnan(t->leq_db) && isnan(t->laeq_db) && isnan(t->lcsmax_db));
    assert_true(fabs(t->lzeq_db - 93.15203457) < 1e-6);
    assert_int_equal(items[0].track->n, 41);
    assert_true(fabs(items[0].track->pitch_st[20] - 57) < 0.1); /* 220 Hz */
    assert_int_equal(items[0].flips.n, 1);
    assert_true(items[0].flips.items[0].pitch_after_st == 62.5);
    journal_items_free(items, n);
    journal_close(j);
}

/* What goes wrong half-way leaves the file as it was. */
static void test_all_or_nothing(void **state)
{
    (void)state;
    run_sql("ALTER TABLE takes ADD COLUMN lcsmax_db REAL");
    char *before = ask_sql("SELECT sql FROM sqlite_schema"),
         *level = ask_sql("SELECT leq_db FROM takes");
    journal *j = NULL;
    err e = {""};
    assert_false(journal_open(file, JOURNAL_WRITE, &j, &e));
    assert_null(j);
    assert_non_null(strstr(e.text, "lcsmax_db"));
    expect_sql("PRAGMA user_version", "1\n");
    expect_sql("SELECT sql FROM sqlite_schema", before);
    expect_sql("SELECT leq_db FROM takes", level);
    free(before);
    free(level);
}

static void test_many_at_once(void **state)
{
    (void)state;
    enum { PROCESSES = 6 };
    int failed = 0, status;
    for (int k = 0; k < PROCESSES; k++)
        if (fork() == 0) {
            journal *j = NULL;
            err e;
            bool fine = journal_open(file, k % 2 ? JOURNAL_READ : JOURNAL_WRITE, &j, &e);
            journal_close(j);
            _exit(fine ? 0 : 1);
        }
    while (wait(&status) > 0)
        failed += status != 0;
    assert_int_equal(failed, 0);
    expect_sql("SELECT count(lzeq_db) FROM takes", "3\n");
    expect_sql("PRAGMA user_version", "2\n");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_nothing_is_lost, version_1, remove_file),
        cmocka_unit_test_setup_teardown(test_like_a_new_one, version_1, remove_file),
        cmocka_unit_test_setup_teardown(test_is_read, version_1, remove_file),
        cmocka_unit_test_setup_teardown(test_all_or_nothing, version_1, remove_file),
        cmocka_unit_test_setup_teardown(test_many_at_once, version_1, remove_file),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
