/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_INTAKE_SPLIT_H
#define COMMAND_INTAKE_SPLIT_H

/* Recordings of whole lessons give way to the takes in them.
 *
 * What is said of a lesson holds for each of its takes, and a table says more of single ones: a row
 * with start_s and end_s is of the take that it overlaps most, as far as its cell `file` (which a
 * single lesson does without) names the lesson; it need not keep to the take's edges. Of two rows
 * of one take that with more of it counts. A row's cells are those that intake_read() knows; drop
 * leaves the take out. */

#include "command/intake.h"

/* In: lessons; out: takes FILE@START-END, by lesson and then by time. Says on stderr which lesson
 * cannot be read or holds no take, and which row has no take or not its own. *failed: lessons that
 * cannot be read. False, with a sentence, on a table that is not good. */
bool intake_split(intake_list *l, const char *table_or_null, bool quiet, size_t *failed, err *e);

#endif
