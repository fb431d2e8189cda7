/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_BOUNDARY_TABLE_H
#define COMMAND_BOUNDARY_TABLE_H

/* The table of a boundary, as `fit` and `map` print it: every row is always there, what the takes
 * do not tell with empty fields and a note that says why. */

#include "base/table.h"
#include "fit/boundary.h"

#define BOUNDARY_COLUMNS "parameter estimate lo95 hi95 unit"

/* at_db, how many attempts there were and how many ended without a flip, whether the boundary is
 * curved, by how much sessions differ where there are several, and under the name of
 * each row that is not told the reason. */
void boundary_table_notes(const boundary *b, table_writer *w);
void boundary_table_rows(const boundary *b, table_writer *w);
/* A note for each direction whose pitch is stated outside the levels that were sung, with `who`
 * before it. */
void boundary_table_far(const boundary *b, const char *key, const char *who, table_writer *w);
/* One more row. */
void boundary_table_row(table_writer *w, const char *parameter, figure f, const char *unit);

#endif
