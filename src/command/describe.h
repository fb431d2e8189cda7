/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_DESCRIBE_H
#define COMMAND_DESCRIBE_H

/* What is said of a recording, as the journal keeps it. */

#include "command/intake.h"
#include "journal/journal.h"

/* The take that these statements make, before any sound is read: `sound` and all that is heard are
 * still empty. journal_take_clear() frees. */
journal_take describe_take(const intake *in);

/* What is not stated now stays as it was. A stated date goes before the recorder's, that before the
 * file's own, and of two of a kind that nobody stated the earlier stays; of two file names the
 * first in byte order: so the order in which recordings are added does not matter. */
void describe_keep(journal_take *t, const journal_take *was);

/* What still is not stated gets its default. */
void describe_default(journal_take *t);

/* Equal statements, settings and version: nothing would be heard otherwise than it was. */
bool describe_same(const journal_take *a, const journal_take *b);

#endif
