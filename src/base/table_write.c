/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/table.h"

#include "base/aligned.h"
#include "base/array.h"
#include "base/number.h"
#include "base/terminal.h"
#include "base/text.h"

#include <assert.h>
#include <errno.h>
#include <jansson.h>
#include <math.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>

struct table_writer {
    FILE *out;
    table_format format;
    char *words;  /* the columns' names, one after the other */
    char **names; /* [n] into words */
    size_t n, room;
    size_t at; /* the next cell's column */
    size_t rows;
    bool begun;    /* the header is out */
    json_t *notes; /* for JSON, which has them as one object */
    aligned *text; /* for text, once it has begun */
};

static void split_columns(table_writer *w, const char *columns)
{
    char *rest = w->words = xstrdup(columns), *name;
    while ((name = strtok_r(rest, " ", &rest))) {
        array_reserve((void **)&w->names, &w->room, w->n + 1, sizeof *w->names);
        w->names[w->n++] = name;
    }
    assert(w->n > 0);
}

table_writer *table_writer_new(FILE *out, table_format format, const char *columns)
{
    table_writer *w = xcalloc(1, sizeof *w);
    w->out = out;
    w->format = format;
    w->notes = json_object();
    split_columns(w, columns);
    return w;
}

/* jansson takes UTF-8 alone, and a file's name may be any bytes. */
static json_t *json_text(const char *text)
{
    char *valid = text_utf8(text);
    json_t *j = json_string(valid);
    free(valid);
    return j;
}

/* A key that comes again makes its value a list, so that no note is lost. */
static void note_json(json_t *notes, const char *key, const char *value)
{
    json_t *was = json_object_get(notes, key);
    if (!was) {
        json_object_set_new(notes, key, json_text(value));
        return;
    }
    if (!json_is_array(was)) {
        json_t *list = json_array();
        json_array_append(list, was);
        json_object_set_new(notes, key, list);
        was = list;
    }
    json_array_append_new(was, json_text(value));
}

static void write_escaped(FILE *out, const char *text)
{
    for (; *text; text++)
        switch (*text) {
        case '\t':
            fputs("\\t", out);
            break;
        case '\n':
            fputs("\\n", out);
            break;
        case '\r':
            fputs("\\r", out);
            break;
        case '\\':
            fputs("\\\\", out);
            break;
        default:
            fputc(*text, out);
        }
}

static void write_json_text(FILE *out, const char *text)
{
    json_t *j = json_text(text);
    json_dumpf(j, out, JSON_ENCODE_ANY);
    json_decref(j);
}

/* Nothing in a name may steer the terminal. */
static void note_text(const table_writer *w, const char *key, const char *value)
{
    bool faint = terminal_colours(fileno(w->out));
    char *shown = text_visible(value);
    fprintf(w->out, "%s# %s %s%s\n", faint ? TERMINAL_FAINT : "", key, shown,
            faint ? TERMINAL_PLAIN : "");
    free(shown);
}

void table_note(table_writer *w, const char *key, const char *format, ...)
{
    assert(!w->begun);
    va_list args, again;
    va_start(args, format);
    va_copy(again, args);
    int length = vsnprintf(NULL, 0, format, args);
    va_end(args);
    char *value = xcalloc(length < 0 ? 1 : (size_t)length + 1, 1);
    if (length > 0)
        vsnprintf(value, (size_t)length + 1, format, again);
    va_end(again);
    if (w->format == TABLE_JSON) {
        note_json(w->notes, key, value);
    } else if (w->format == TABLE_TEXT) {
        note_text(w, key, value);
    } else {
        fprintf(w->out, "# %s ", key);
        write_escaped(w->out, value);
        fputc('\n', w->out);
    }
    free(value);
}

static void begin(table_writer *w)
{
    if (w->begun)
        return;
    w->begun = true;
    if (w->format == TABLE_JSON) {
        fputs("{\"notes\": ", w->out);
        json_dumpf(w->notes, w->out, 0);
        fputs(",\n\"rows\": [", w->out);
        return;
    }
    if (w->format == TABLE_TEXT) {
        w->text = aligned_new(w->out, w->names, w->n, terminal_columns(fileno(w->out)),
                              terminal_colours(fileno(w->out)));
        return;
    }
    for (size_t i = 0; i < w->n; i++)
        fprintf(w->out, "%s%c", w->names[i], i + 1 < w->n ? '\t' : '\n');
}

static void begin_cell(table_writer *w)
{
    begin(w);
    if (w->format == TABLE_TEXT)
        return;
    if (w->format == TABLE_TSV) {
        if (w->at)
            fputc('\t', w->out);
        return;
    }
    if (!w->at)
        fputs(w->rows ? ",\n{" : "\n{", w->out);
    fprintf(w->out, "%s\"%s\": ", w->at ? ", " : "", w->names[w->at]);
}

static void end_cell(table_writer *w)
{
    if (++w->at < w->n)
        return;
    if (w->format != TABLE_TEXT)
        fputs(w->format == TABLE_JSON ? "}" : "\n", w->out);
    w->at = 0;
    w->rows++;
}

void table_text(table_writer *w, const char *text_or_null)
{
    begin_cell(w);
    if (w->format == TABLE_TEXT)
        aligned_cell(w->text, text_or_null ? text_or_null : "");
    else if (w->format == TABLE_TSV)
        write_escaped(w->out, text_or_null ? text_or_null : "");
    else if (text_or_null)
        write_json_text(w->out, text_or_null);
    else
        fputs("null", w->out);
    end_cell(w);
}

static void write_number(table_writer *w, const char *text)
{
    begin_cell(w);
    if (w->format == TABLE_TEXT)
        aligned_cell(w->text, text);
    else
        fputs(text, w->out);
    end_cell(w);
}

void table_number(table_writer *w, double value, int decimals)
{
    char text[NUMBER_SIZE];
    number_fixed(value, decimals, text);
    write_number(w, w->format == TABLE_JSON && !isfinite(value) ? "null" : text);
}

void table_count(table_writer *w, long value)
{
    char text[NUMBER_SIZE];
    snprintf(text, sizeof text, "%ld", value);
    write_number(w, text);
}

bool table_writer_close(table_writer *w, err *e)
{
    assert(w->at == 0);
    begin(w);
    if (w->format == TABLE_JSON)
        fputs("\n]}\n", w->out);
    aligned_free(w->text);
    errno = 0;
    bool flushed = fflush(w->out) == 0;
    int cause = errno;
    bool fine = flushed && !ferror(w->out);
    json_decref(w->notes);
    free(w->names);
    free(w->words);
    free(w);
    return fine || err_set(e, "The result could not be written: %s.",
                           cause ? strerror(cause) : "the output failed");
}
