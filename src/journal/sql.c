/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/sql.h"

#include "base/array.h"

#include <assert.h>
#include <math.h>
#include <stdarg.h>
#include <string.h>

bool sql_fail(const journal *j, err *e)
{
    const char *why = sqlite3_errmsg(j->db);
    switch (sqlite3_errcode(j->db)) {
    case SQLITE_NOTADB:
        return err_set(e, "%s is no journal: it is not a database.", j->file);
    case SQLITE_CORRUPT:
        return err_set(e,
                       "The journal %s is damaged (%s): \"journal recover\" saves what can be "
                       "read, or go back to a copy.",
                       j->file, why);
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
        return err_set(e, "The journal %s is in use by another process; try again.", j->file);
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_CANTOPEN:
        return err_set(e, "The journal %s cannot be written: %s.", j->file, why);
    case SQLITE_FULL:
        return err_set(e, "The journal %s was left as it was: the disk is full.", j->file);
    default:
        return err_set(e, "The journal %s failed: %s.", j->file, why);
    }
}

bool sql_run(const journal *j, const char *text, err *e)
{
    return sqlite3_exec(j->db, text, NULL, NULL, NULL) == SQLITE_OK || sql_fail(j, e);
}

static int bind_one(sqlite3_stmt *s, int at, char letter, va_list *args)
{
    if (letter == 't')
        return sqlite3_bind_text(s, at, va_arg(*args, const char *), -1, SQLITE_TRANSIENT);
    if (letter == 'i')
        return sqlite3_bind_int64(s, at, va_arg(*args, long));
    if (letter == 'r')
        return sqlite3_bind_double(s, at, va_arg(*args, double));
    assert(letter == 'b');
    const void *bytes = va_arg(*args, const void *);
    return sqlite3_bind_blob64(s, at, bytes, va_arg(*args, size_t), SQLITE_STATIC);
}

static bool prepare(const journal *j, const char *text, sqlite3_stmt **out, err *e,
                    const char *letters, va_list *args)
{
    *out = NULL;
    int code = sqlite3_prepare_v2(j->db, text, -1, out, NULL);
    assert(code != SQLITE_OK || sqlite3_bind_parameter_count(*out) == (int)strlen(letters));
    for (int i = 0; code == SQLITE_OK && letters[i]; i++)
        code = bind_one(*out, i + 1, letters[i], args);
    if (code == SQLITE_OK)
        return true;
    sql_fail(j, e);
    sqlite3_finalize(*out);
    *out = NULL;
    return false;
}

bool sql_prepare(const journal *j, const char *text, sqlite3_stmt **out, err *e,
                 const char *letters, ...)
{
    va_list args;
    va_start(args, letters);
    bool fine = prepare(j, text, out, e, letters, &args);
    va_end(args);
    return fine;
}

bool sql_step(const journal *j, sqlite3_stmt **s, bool *row, err *e)
{
    int code = sqlite3_step(*s);
    *row = code == SQLITE_ROW;
    if (code == SQLITE_ROW || code == SQLITE_DONE)
        return true;
    sql_fail(j, e);
    sqlite3_finalize(*s);
    *s = NULL;
    return false;
}

bool sql_next(const journal *j, sqlite3_stmt **s, bool *fine, err *e)
{
    bool row = false;
    *fine = *fine && sql_step(j, s, &row, e);
    if (row)
        return true;
    sqlite3_finalize(*s);
    *s = NULL;
    return false;
}

bool sql_do(const journal *j, const char *text, err *e, const char *letters, ...)
{
    sqlite3_stmt *s;
    bool row;
    va_list args;
    va_start(args, letters);
    bool fine = prepare(j, text, &s, e, letters, &args) && sql_step(j, &s, &row, e);
    va_end(args);
    sqlite3_finalize(s);
    return fine;
}

bool sql_long(const journal *j, const char *text, long otherwise, long *out, err *e,
              const char *letters, ...)
{
    sqlite3_stmt *s;
    bool row;
    va_list args;
    va_start(args, letters);
    bool fine = prepare(j, text, &s, e, letters, &args) && sql_step(j, &s, &row, e);
    va_end(args);
    if (fine)
        *out = row ? (long)sqlite3_column_int64(s, 0) : otherwise;
    sqlite3_finalize(s);
    return fine;
}

char *sql_text(sqlite3_stmt *s, int column)
{
    const unsigned char *text = sqlite3_column_text(s, column);
    return xstrdup(text ? (const char *)text : "");
}

double sql_real(sqlite3_stmt *s, int column)
{
    bool null = sqlite3_column_type(s, column) == SQLITE_NULL;
    return null ? (double)NAN : sqlite3_column_double(s, column);
}

bool sql_begin_read(const journal *j, bool *begun, err *e)
{
    *begun = sqlite3_get_autocommit(j->db) != 0;
    return !*begun || sql_run(j, "BEGIN", e);
}

void sql_end_read(const journal *j, bool begun)
{
    if (begun)
        sqlite3_exec(j->db, "ROLLBACK", NULL, NULL, NULL);
}

bool sql_begin_write(journal *j, bool *begun, err *e)
{
    *begun = sqlite3_get_autocommit(j->db) != 0;
    return !*begun || journal_begin(j, e);
}

bool sql_end_write(journal *j, bool begun, bool fine, err *e)
{
    if (begun && fine)
        return journal_commit(j, e);
    if (begun)
        journal_rollback(j);
    return fine;
}
