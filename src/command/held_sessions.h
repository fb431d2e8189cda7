/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_HELD_SESSIONS_H
#define COMMAND_HELD_SESSIONS_H

/* Scores of held over the days: what follows training. */

#include "base/table.h"
#include "journal/journal.h"
#include "lesson/held.h"

extern const char held_sessions_columns[];

/* A row for each day and exercise, medians over its takes; items by date. */
void held_sessions_write(table_writer *w, const journal_item *items, const held_score *scores,
                         size_t n);

#endif
