/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_FILE_H
#define JOURNAL_FILE_H

/* A journal's file as SQLite itself sees it, for tests. Include after cmocka.h. */

#include "base/array.h"
#include "journal/journal.h"

#include <sqlite3.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

static inline sqlite3 *open_sql(const char *file)
{
    sqlite3 *db;
    assert_int_equal(sqlite3_open(file, &db), SQLITE_OK);
    sqlite3_busy_timeout(db, 10000);
    return db;
}

static inline void run_sql_in(const char *file, const char *text)
{
    sqlite3 *db = open_sql(file);
    char *why = NULL;
    if (sqlite3_exec(db, text, NULL, NULL, &why) != SQLITE_OK)
        fail_msg("%s", why);
    assert_int_equal(sqlite3_close(db), SQLITE_OK);
}

/* The first column of all rows, a line each; the caller frees. */
static inline char *ask_sql_in(const char *file, const char *text)
{
    sqlite3 *db = open_sql(file);
    sqlite3_stmt *s;
    char *all = xstrdup("");
    if (sqlite3_prepare_v2(db, text, -1, &s, NULL) != SQLITE_OK)
        fail_msg("%s", sqlite3_errmsg(db));
    while (sqlite3_step(s) == SQLITE_ROW) {
        const char *cell = (const char *)sqlite3_column_text(s, 0);
        char *longer = xformat("%s%s\n", all, cell ? cell : "NULL");
        free(all);
        all = longer;
    }
    assert_int_equal(sqlite3_finalize(s), SQLITE_OK);
    sqlite3_close(db);
    return all;
}

static inline long ask_number_in(const char *file, const char *text)
{
    char *all = ask_sql_in(file, text);
    long n = strtol(all, NULL, 10);
    free(all);
    return n;
}

static inline journal *open_journal(const char *file, journal_mode mode)
{
    journal *j;
    err e;
    if (!journal_open(file, mode, &j, &e))
        fail_msg("%s", e.text);
    return j;
}

/* Every process that was forked ends well. */
static inline void wait_for_all(void)
{
    int status, failed = 0;
    while (wait(&status) > 0)
        failed += !WIFEXITED(status) || WEXITSTATUS(status) != 0;
    assert_int_equal(failed, 0);
}

#endif
