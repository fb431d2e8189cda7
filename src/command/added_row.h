/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_ADDED_ROW_H
#define COMMAND_ADDED_ROW_H

/* What add prints of a take once it is safely stored. */

#include "base/table.h"
#include "command/hear.h"
#include "command/take_cells.h"

#define ADDED_COLUMNS                                                                              \
    "take file singer date seconds voiced_s flips doubtful clipped dc peak level_db level_unit "   \
    "date_from state " TAKE_CHECK_COLUMNS

void added_row(table_writer *w, const intake *in, hear_outcome outcome, const journal_take *t);

/* What is wrong with a recording, on stderr, a sentence each. */
bool added_checks(journal *j, const char *file, const char *code, err *e);
/* What is doubtful about its rig likewise, once for takes on end: *doubted is what was last said,
 * or NULL; the caller frees. */
bool added_rig(journal *j, const journal_take *t, char **doubted, err *e);

#endif
