/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/take_cells.h"

#include "base/array.h"
#include "base/number.h"
#include "base/text.h"

#include <math.h>
#include <stdlib.h>

void cell_file(table_writer *w, const journal_take *t)
{
    if (isnan(t->end_s)) {
        table_text(w, t->file);
        return;
    }
    char start[NUMBER_SIZE], end[NUMBER_SIZE];
    number_short(t->start_s, start);
    number_short(t->end_s, end);
    char *name = xformat("%s@%s-%s", t->file, start, end);
    table_text(w, name);
    free(name);
}

void cell_set(table_writer *w, int bits)
{
    char *list = bits < 0 ? NULL : text_set_write(JOURNAL_DIMENSIONS, bits);
    table_text(w, list);
    free(list);
}

void cell_register(table_writer *w, declared_register declared)
{
    table_text(w, declared == DECLARED_M1 ? "M1" : declared == DECLARED_M2 ? "M2" : NULL);
}

void cell_level_unit(table_writer *w, const journal_take *t)
{
    table_text(w, isnan(t->full_scale_db) ? "dB FS" : "dB SPL");
}
