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

void cell_channel(table_writer *w, int channel)
{
    if (channel > 0)
        table_count(w, channel);
    else
        table_text(w, NULL);
}

void cell_level_unit(table_writer *w, const journal_take *t, const char *weighting)
{
    bool calibrated = !isnan(t->full_scale_db);
    char *unit = xformat("%s (%s%s)", calibrated ? "dB SPL" : "dB re full scale", weighting,
                         calibrated ? ", 30 cm" : "");
    table_text(w, unit);
    free(unit);
}

void take_level_notes(table_writer *w)
{
    static const char scale[] = "in dB SPL at 30 cm or dB re full scale, as level_unit says";
    table_note(w, "level_db", "Leq of the take, with the weighting and the scale of level_unit");
    table_note(w, "laeq_db", "Leq with A, %s", scale);
    table_note(w, "lzeq_db", "Leq with Z, %s", scale);
    table_note(w, "lcfmax_db", "largest C-weighted level with F (125 ms), %s", scale);
    table_note(w, "lcsmax_db", "largest C-weighted level with S (1 s), %s", scale);
}

void cell_levels(table_writer *w, const journal_take *t)
{
    table_number(w, t->laeq_db, 1);
    table_number(w, t->lzeq_db, 1);
    table_number(w, t->lcfmax_db, 1);
    table_number(w, t->lcsmax_db, 1);
}

void cell_checks(table_writer *w, const journal_take *t)
{
    table_text(w, *t->failed ? t->failed : NULL);
    table_text(w, *t->warned ? t->warned : NULL);
}

void cell_check(table_writer *w, const journal_check *c)
{
    table_text(w, c->name);
    table_text(w, c->result);
    table_number(w, c->figure, check_decimals_of(c->name));
    table_text(w, c->unit);
    table_text(w, *c->remedy ? c->remedy : NULL);
}
