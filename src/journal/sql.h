/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_SQL_H
#define JOURNAL_SQL_H

/* SQLite as this stage uses it: every call checked, every failure one sentence. */

#include "base/message.h"
#include "journal/journal.h"

#include <sqlite3.h>
#include <stddef.h>

struct journal {
    sqlite3 *db;
    char *file;
};

/* The sentence for what SQLite just said. */
bool sql_fail(const journal *j, err *e);

/* Runs statements that give no rows. */
bool sql_run(const journal *j, const char *text, err *e);

/* Prepares a statement and binds its parameters, one letter each: t text (copied), i long,
 * r double (NaN becomes NULL), b blob as pointer and size_t (borrowed until the statement ends). */
bool sql_prepare(const journal *j, const char *text, sqlite3_stmt **out, err *e,
                 const char *letters, ...);
/* *row: there is a row to read. On failure the statement is finalized and *s NULL. */
bool sql_step(const journal *j, sqlite3_stmt **s, bool *row, err *e);
/* For loops over rows: true while there is one and *fine. Otherwise the statement is finalized and
 * *s NULL, and *fine is false where it was, as after a statement that could not be prepared, or
 * where a row could not be read. */
bool sql_next(const journal *j, sqlite3_stmt **s, bool *fine, err *e);
/* Prepares, binds, steps to the end and finalizes a statement that gives no rows. */
bool sql_do(const journal *j, const char *text, err *e, const char *letters, ...);
/* The first column of the first row as a number; `otherwise` when there is no row. */
bool sql_long(const journal *j, const char *text, long otherwise, long *out, err *e,
              const char *letters, ...);

char *sql_text(sqlite3_stmt *s, int column);  /* a copy; "" for NULL */
double sql_real(sqlite3_stmt *s, int column); /* NaN for NULL */

/* A snapshot to read in, unless a transaction is open already: *begun tells sql_end. */
bool sql_begin_read(const journal *j, bool *begun, err *e);
void sql_end_read(const journal *j, bool begun);

/* The same to write in, with the write lock. What was done is kept where `fine`, and taken back
 * otherwise; a transaction that was open before stays open either way. */
bool sql_begin_write(journal *j, bool *begun, err *e);
bool sql_end_write(journal *j, bool begun, bool fine, err *e);

#endif
