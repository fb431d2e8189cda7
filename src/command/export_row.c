/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/export_row.h"

#include "base/array.h"

#include <stdlib.h>
#include <string.h>

void set_text(export_row *r, int at, const char *text)
{
    r->cells[at] = (export_cell){.kind = TEXT, .text = text};
}

void set_number(export_row *r, int at, double value, int decimals)
{
    r->cells[at] = (export_cell){.kind = NUMBER, .value = value, .decimals = decimals};
}

void set_count(export_row *r, int at, long value)
{
    r->cells[at] = (export_cell){.kind = COUNT, .value = (double)value};
}

void row_begin(export_row *r, const char *record, const char *singer, const char *take)
{
    memset(r->cells, 0, sizeof r->cells);
    set_text(r, AT_record, record);
    set_text(r, AT_singer, singer);
    set_text(r, AT_take, take);
}

void row_write(const export_row *r, table_writer *w)
{
    for (int i = 0; i < EXPORT_ALL; i++) {
        const export_cell *c = &r->cells[i];
        if (c->kind == NUMBER)
            table_number(w, c->value, c->decimals);
        else if (c->kind == COUNT)
            table_count(w, (long)c->value);
        else
            table_text(w, c->kind == TEXT ? c->text : NULL);
    }
}

#define AS_TEXT(name) " " #name

char *export_columns(void)
{
    const char *const plain = EXPORT_COLUMNS(AS_TEXT);
    char *names = xstrdup(plain + 1);
    for (int i = 0; i < 2 * TRACK_HARMONICS; i++) {
        char *longer = xformat("%s %s%d_db", names, i < TRACK_HARMONICS ? "h" : "noise",
                               i % TRACK_HARMONICS + 1);
        free(names);
        names = longer;
    }
    char *all = xformat("%s%s", names, EXPORT_LATER(AS_TEXT));
    free(names);
    return all;
}
