/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What can still be read of a damaged journal, into a new one.
 *
 * SQLite reads a table in the order of its keys and stops at the first page that is damaged. So
 * each table is read from either end, and what lies between row by row. */
#include "journal/care.h"

#include "base/array.h"
#include "journal/sql.h"
#include "journal/take.h"

#include <stdlib.h>
#include <unistd.h>

enum { MOST_PROBES = 1000000 };

typedef struct rescue {
    sqlite3 *from;
    journal *to;
} rescue;

static const char *const tables[] = {"singers", "sessions",    "takes",  "frames", "registers",
                                     "flips",   "corrections", "checks", "models", "calibrations"};

/* Puts the row that `s` stands on into the table of the same name; one that does not fit there is
 * left out. */
static void keep_row(const rescue *r, const char *table, sqlite3_stmt *s)
{
    int n = sqlite3_column_count(s);
    char *names = xstrdup(""), *marks = xstrdup("");
    for (int i = 0; i < n; i++) {
        char *longer = xformat("%s%s\"%s\"", names, i ? ", " : "", sqlite3_column_name(s, i));
        char *more = xformat("%s%s?", marks, i ? ", " : "");
        free(names);
        free(marks);
        names = longer;
        marks = more;
    }
    char *text = xformat("INSERT OR IGNORE INTO %s(%s) VALUES (%s)", table, names, marks);
    sqlite3_stmt *into = NULL;
    if (sqlite3_prepare_v2(r->to->db, text, -1, &into, NULL) == SQLITE_OK) {
        for (int i = 0; i < n; i++)
            sqlite3_bind_value(into, i + 1, sqlite3_column_value(s, i));
        sqlite3_step(into);
    }
    sqlite3_finalize(into);
    free(names);
    free(marks);
    free(text);
}

/* Reads until the end or the first damage; *last: the first column of the last row read, its key
 * where the table has a number for one. True when it was read to its end. */
static bool read_rows(const rescue *r, const char *table, const char *rest, long *last)
{
    char *text = xformat("SELECT * FROM %s %s", table, rest);
    sqlite3_stmt *s = NULL;
    int code = sqlite3_prepare_v2(r->from, text, -1, &s, NULL);
    free(text);
    while (code == SQLITE_OK || code == SQLITE_ROW) {
        code = sqlite3_step(s);
        if (code == SQLITE_ROW) {
            *last = (long)sqlite3_column_int64(s, 0);
            keep_row(r, table, s);
        }
    }
    sqlite3_finalize(s);
    return code == SQLITE_DONE;
}

static void read_table(const rescue *r, const char *table, bool numbered)
{
    long low = 0, high = 0, ignored;
    if (read_rows(r, table, "ORDER BY 1", &low))
        return;
    read_rows(r, table, "ORDER BY 1 DESC", &high);
    for (long k = low + 1, probes = 0; numbered && k < high && probes < MOST_PROBES;
         k++, probes++) {
        char *rest = xformat("WHERE rowid = %ld", k);
        read_rows(r, table, rest, &ignored);
        free(rest);
    }
}

/* Takes without frames, or with others than were stored, are of no use; without registers they are
 * judged anew. */
static bool drop_broken(journal *j, size_t *lost, err *e)
{
    take_list list;
    if (!take_query(j, "WHERE t.code >= ?", "", NULL, &list, e))
        return false;
    bool fine = true;
    for (size_t i = 0; fine && i < list.n; i++) {
        journal_item item = {0};
        bool same = false;
        err why;
        if (frames_same(j, list.ids[i], &same, &why) && same &&
            take_by_id(j, list.ids[i], &item, &why)) {
            journal_item_clear(&item);
            continue;
        }
        journal_item_clear(&item);
        ++*lost;
        fine = sql_do(j, "DELETE FROM takes WHERE id = ?", e, "i", list.ids[i]);
    }
    take_list_clear(&list);
    return fine;
}

static bool settle(journal *j, size_t *takes, size_t *lost, err *e)
{
    long orphans, kept;
    bool fine =
        sql_long(j,
                 "SELECT count(*) FROM takes WHERE session NOT IN (SELECT s.id FROM sessions s"
                 " JOIN singers g ON g.id = s.singer)",
                 0, &orphans, e, "") &&
        sql_run(j,
                "DELETE FROM sessions WHERE singer NOT IN (SELECT id FROM singers);"
                "DELETE FROM takes WHERE session NOT IN (SELECT id FROM sessions);"
                "DELETE FROM models WHERE singer NOT IN (SELECT id FROM singers)",
                e);
    *lost = fine ? (size_t)orphans : 0;
    fine = fine && drop_broken(j, lost, e) &&
           sql_run(j,
                   "DELETE FROM models WHERE singer IN (SELECT s.singer FROM takes t JOIN sessions"
                   " s ON s.id = t.session WHERE t.id NOT IN (SELECT take FROM registers));"
                   "DELETE FROM frames WHERE take NOT IN (SELECT id FROM takes);"
                   "DELETE FROM registers WHERE take NOT IN (SELECT id FROM takes);"
                   "DELETE FROM flips WHERE take NOT IN (SELECT id FROM takes);"
                   "DELETE FROM checks WHERE take NOT IN (SELECT id FROM takes);"
                   "DELETE FROM sessions WHERE id NOT IN (SELECT session FROM takes)",
                   e) &&
           sql_long(j, "SELECT count(*) FROM takes", 0, &kept, e, "");
    *takes = fine ? (size_t)kept : 0;
    return fine;
}

static bool rescue_all(const rescue *r, size_t *takes, size_t *lost, err *e)
{
    if (!sql_run(r->to, "PRAGMA foreign_keys = OFF", e) || !journal_begin(r->to, e))
        return false;
    for (size_t i = 0; i < sizeof tables / sizeof *tables; i++)
        read_table(r, tables[i], i < 5);
    if (!settle(r->to, takes, lost, e)) {
        journal_rollback(r->to);
        return false;
    }
    if (!*takes && !*lost) {
        journal_rollback(r->to);
        return err_set(e, "Nothing of the journal can be read any more: go back to a copy of it.");
    }
    return journal_commit(r->to, e);
}

static bool recover_into(const char *path, journal *to, size_t *takes, size_t *lost, err *e)
{
    rescue r = {NULL, to};
    char *plain = xformat("%s%s", path[0] == '/' ? "" : "./", path);
    bool fine = sqlite3_open_v2(plain, &r.from, SQLITE_OPEN_READWRITE, NULL) == SQLITE_OK ||
                err_set(e, "The journal %s cannot be opened.", path);
    /* Otherwise SQLite reads nothing of a file that is shorter than its first page says. */
    if (fine)
        sqlite3_exec(r.from, "PRAGMA writable_schema = ON", NULL, NULL, NULL);
    fine = fine && rescue_all(&r, takes, lost, e);
    sqlite3_close(r.from);
    free(plain);
    return fine;
}

static bool recover(const char *path, const char *to, size_t *takes, size_t *lost, err *e)
{
    journal *j;
    if (access(path, R_OK) != 0)
        return err_set(e, "The journal %s cannot be read.", path);
    if (access(to, F_OK) == 0)
        return err_set(e, "There is a file %s already.", to);
    if (!journal_open(to, JOURNAL_WRITE, &j, e))
        return false;
    bool fine = recover_into(path, j, takes, lost, e);
    journal_close(j);
    if (!fine)
        unlink(to);
    return fine;
}

bool care_recover(const char *path_or_null, const char *to, size_t *takes, size_t *lost, err *e)
{
    char *path = path_or_null ? xstrdup(path_or_null) : journal_path();
    if (!path)
        return err_set(e, "Where is the journal? Say --journal FILE.");
    bool fine = recover(path, to, takes, lost, e);
    free(path);
    return fine;
}
