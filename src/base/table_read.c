/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/table.h"

#include "base/array.h"
#include "base/number.h"

#include <assert.h>
#include <errno.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

typedef struct reader {
    table *t;
    size_t cell_room, row_room, note_room;
} reader;

static bool slurp(const char *path, char **text, size_t *n, err *e)
{
    bool pipe = strcmp(path, "-") == 0;
    FILE *in = pipe ? stdin : fopen(path, "rb");
    if (!in)
        return err_set(e, "%s: the table cannot be opened: %s.", path, strerror(errno));
    size_t room = 0, got;
    *text = NULL;
    *n = 0;
    errno = 0;
    do {
        array_reserve((void **)text, &room, *n + 65536 + 1, 1);
        got = fread(*text + *n, 1, room - *n - 1, in);
        *n += got;
    } while (got > 0);
    bool failed = ferror(in);
    int cause = errno;
    if (!pipe)
        fclose(in);
    (*text)[*n] = '\0';
    return !failed || err_set(e, "%s: the table cannot be read: %s.", path, strerror(cause));
}

static void unescape(char *cell)
{
    static const char written[] = "tnr\\", meant[] = "\t\n\r\\";
    char *to = strchr(cell, '\\');
    if (!to)
        return;
    for (const char *from = to; *from; from++) {
        const char *known = from[0] == '\\' && from[1] ? strchr(written, from[1]) : NULL;
        *to++ = known ? meant[known - written] : *from;
        if (known)
            from++;
    }
    *to = '\0';
}

static char *next_line(char **rest)
{
    char *line = *rest;
    if (!*line)
        return NULL;
    char *end = line + strcspn(line, "\n");
    *rest = *end ? end + 1 : end;
    *end = '\0';
    if (end > line && end[-1] == '\r')
        end[-1] = '\0';
    return line;
}

/* The next cell of a line, or NULL past the last. */
static char *next_cell(char **rest)
{
    char *cell = *rest;
    if (!cell)
        return NULL;
    *rest = strchr(cell, '\t');
    if (*rest)
        *(*rest)++ = '\0';
    unescape(cell);
    return cell;
}

static void take_note(reader *r, char *line)
{
    table *t = r->t;
    char *key = line + 1 + strspn(line + 1, " ");
    char *value = key + strcspn(key, " ");
    if (*value)
        *value++ = '\0';
    unescape(value);
    size_t room = r->note_room;
    array_reserve((void **)&t->note_keys, &room, t->n_notes + 1, sizeof *t->note_keys);
    array_reserve((void **)&t->note_values, &r->note_room, t->n_notes + 1, sizeof *t->note_values);
    t->note_keys[t->n_notes] = key;
    t->note_values[t->n_notes++] = value;
}

static void take_header(table *t, char *line)
{
    size_t room = 0;
    for (char *cell; (cell = next_cell(&line));) {
        array_reserve((void **)&t->names, &room, t->n_columns + 1, sizeof *t->names);
        t->names[t->n_columns++] = cell;
    }
}

static bool take_row(reader *r, char *line, size_t number, err *e)
{
    table *t = r->t;
    size_t at = t->n_rows * t->n_columns, n = 0;
    array_reserve((void **)&t->cells, &r->cell_room, at + t->n_columns, sizeof *t->cells);
    array_reserve((void **)&t->line, &r->row_room, t->n_rows + 1, sizeof *t->line);
    char *end = line + strlen(line);
    for (char *cell; (cell = next_cell(&line)); n++) {
        if (n == t->n_columns)
            return err_set(e, "%s line %zu: the row has more cells than the header's %zu columns.",
                           t->path, number, t->n_columns);
        t->cells[at + n] = cell;
    }
    for (; n < t->n_columns; n++)
        t->cells[at + n] = end;
    t->line[t->n_rows++] = number;
    return true;
}

static bool take_lines(reader *r, char *rest, err *e)
{
    table *t = r->t;
    size_t number = 1;
    for (char *line; (line = next_line(&rest)); number++) {
        if (!t->n_columns && *line == '#')
            take_note(r, line);
        else if (!*line && t->n_columns != 1)
            continue;
        else if (!t->n_columns)
            take_header(t, line);
        else if (!take_row(r, line, number, e))
            return false;
    }
    return t->n_columns > 0 ||
           err_set(e, "%s: the table has no header row with the names of its columns.", t->path);
}

static bool has_nul(const table *t, size_t n, err *e)
{
    size_t length = strlen(t->storage), number = 1;
    if (length == n)
        return false;
    for (size_t i = 0; i < length; i++)
        number += t->storage[i] == '\n';
    err_set(e, "%s line %zu: this is no text table, it holds a NUL byte.", t->path, number);
    return true;
}

bool table_read(const char *path, table **out, err *e)
{
    reader r = {.t = xcalloc(1, sizeof *r.t)};
    size_t n = 0;
    r.t->path = xstrdup(strcmp(path, "-") == 0 ? "standard input" : path);
    bool fine = slurp(path, &r.t->storage, &n, e) && !has_nul(r.t, n, e);
    if (fine) {
        bool mark = strncmp(r.t->storage, "\xEF\xBB\xBF", 3) == 0;
        fine = take_lines(&r, r.t->storage + (mark ? 3 : 0), e);
    }
    if (!fine)
        table_free(r.t);
    else
        *out = r.t;
    return fine;
}

void table_free(table *t)
{
    if (!t)
        return;
    free(t->path);
    free(t->storage);
    free(t->names);
    free(t->cells);
    free(t->line);
    free(t->note_keys);
    free(t->note_values);
    free(t);
}

int table_column(const table *t, const char *name)
{
    for (size_t i = 0; i < t->n_columns; i++)
        if (strcmp(t->names[i], name) == 0)
            return (int)i;
    return -1;
}

const char *table_cell(const table *t, size_t row, int column)
{
    assert(row < t->n_rows && column < (int)t->n_columns);
    return column < 0 ? "" : t->cells[row * t->n_columns + (size_t)column];
}

bool table_value(const table *t, size_t row, int column, double *value, err *e)
{
    const char *cell = table_cell(t, row, column);
    if (number_read(cell, value))
        return true;
    if (!*cell || strcmp(cell, "NA") == 0 || strcasecmp(cell, "nan") == 0)
        *value = (double)NAN;
    else if (strcasecmp(cell, "-inf") == 0)
        *value = -(double)INFINITY;
    else
        return err_set(e, "%s line %zu: \"%s\" in column %s is no number.", t->path, t->line[row],
                       cell, t->names[column]);
    return true;
}

const char *table_note_value(const table *t, const char *key)
{
    for (size_t i = 0; i < t->n_notes; i++)
        if (strcmp(t->note_keys[i], key) == 0)
            return t->note_values[i];
    return NULL;
}
