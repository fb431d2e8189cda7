/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/added_row.h"

#include "base/text.h"
#include "command/rig.h"
#include "journal/checks.h"
#include "journal/store.h"

#include <stdlib.h>
#include <string.h>

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

bool added_checks(journal *j, const char *file, const char *code, err *e)
{
    journal_check *checks;
    size_t n;
    if (!journal_checks(j, code, &checks, &n, e))
        return false;
    for (size_t i = 0; i < n; i++) {
        const journal_check *c = &checks[i];
        if (strcmp(c->result, "pass") != 0)
            message_warn("%s: check %s: %s, %.*f %s. %s", file, c->name, c->result,
                         check_decimals_of(c->name), c->figure, c->unit, c->remedy);
    }
    journal_checks_free(checks, n);
    return true;
}

bool added_rig(journal *j, const journal_take *t, char **doubted, err *e)
{
    char *sentence;
    if (!rig_doubt(j, t, &sentence, e))
        return false;
    if (!sentence || (*doubted && strcmp(sentence, *doubted) == 0)) {
        free(sentence);
        return true;
    }
    message_warn("%s", sentence);
    free(*doubted);
    *doubted = sentence;
    return true;
}
