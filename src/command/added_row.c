/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/added_row.h"

#include "base/text.h"

void added_row(table_writer *w, const intake *in, hear_outcome outcome, const journal_take *t)
{
    static const char *const outcomes[] = {"new", "heard again", "known"};
    char date_from[TEXT_WORD_SIZE] = "";
    text_word(JOURNAL_DATE_FROM, (size_t)t->date_from, date_from);
    table_text(w, t->take);
    table_text(w, in->file);
    table_text(w, t->singer);
    table_text(w, t->date);
    table_number(w, t->seconds, 3);
    table_number(w, t->voiced_s, 3);
    table_count(w, (long)t->flips);
    table_count(w, (long)t->doubtful);
    table_count(w, (long)t->clipped_runs);
    table_number(w, t->dc, 5);
    table_number(w, t->peak, 5);
    table_number(w, t->leq_db, 1);
    cell_level_unit(w, t, "C");
    table_text(w, date_from);
    table_text(w, outcomes[outcome]);
    cell_checks(w, t);
}
