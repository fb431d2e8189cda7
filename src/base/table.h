/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_TABLE_H
#define BASE_TABLE_H

/* Tables in and out: TSV with a header row (comment lines "# key value" before it), the same as
 * JSON: {"notes": {...}, "rows": [{...}, ...]}, or as text with its columns aligned for eyes.
 *
 * Writing streams row by row. The decimal point is a point in every locale; tabs, newlines,
 * carriage returns and backslashes in text are escaped (\t \n \r \\). NaN is an empty field (null
 * in JSON), -INFINITY is "-inf" (null in JSON). Bytes that are no UTF-8 become U+FFFD in JSON. */

#include "base/message.h"

#include <stddef.h>
#include <stdio.h>

typedef enum table_format { TABLE_TSV, TABLE_JSON, TABLE_TEXT } table_format;

typedef struct table_writer table_writer;

/* Writes to `out`, which stays the caller's. `columns` are the names parted by blanks. */
table_writer *table_writer_new(FILE *out, table_format format, const char *columns);
/* A comment "# key value"; all notes come before the first row. A key that comes again gives a list
 * in JSON. */
void table_note(table_writer *w, const char *key, const char *format, ...)
    __attribute__((format(printf, 3, 4)));
/* The cells of a row, in the order of the columns; asserts that each row is whole. */
void table_text(table_writer *w, const char *text_or_null);
void table_number(table_writer *w, double value, int decimals);
void table_count(table_writer *w, long value);
/* Header (also of an empty table), end of JSON, flush; false when `out` could not be written.
 * Frees w in any case. */
bool table_writer_close(table_writer *w, err *e);

typedef struct table {
    char *path;    /* where it came from, for messages */
    char *storage; /* the file's text, in which every string below lies */
    size_t n_rows, n_columns;
    char **names; /* [n_columns] */
    char **cells; /* [n_rows * n_columns], unescaped; missing cells are "" */
    size_t *line; /* [n_rows] line number in the file, from 1, for messages */
    size_t n_notes;
    char **note_keys, **note_values; /* [n_notes] the "# key value" lines before the header */
} table;

/* Reads TSV from a file, or "-" for standard input. Carriage returns before newlines and a
 * byte-order mark are dropped; empty lines are passed over, except in a table of one column. Lines
 * that begin with # are notes before the header and rows after it. Fails, with the line number, on:
 * no header, a row with more cells than the header, a NUL byte, an unreadable file. A header alone
 * gives n_rows = 0. */
bool table_read(const char *path, table **out, err *e);
void table_free(table *t);
int table_column(const table *t, const char *name);             /* -1 when there is none */
const char *table_cell(const table *t, size_t row, int column); /* column -1 gives "" */
/* A number; "", "NA" and "nan" give NaN, "-inf" gives -INFINITY; anything else that is no number
 * fails. */
bool table_value(const table *t, size_t row, int column, double *value, err *e);
const char *table_note_value(const table *t, const char *key); /* NULL when absent */

#endif
