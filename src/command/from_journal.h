/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_FROM_JOURNAL_H
#define COMMAND_FROM_JOURNAL_H

/* What commands ask of the journal that they were given. */

#include "command/command.h"
#include "journal/plane.h"

/* Does `work` with the journal open to be read, and closes it. Returns what `work` returns, or
 * EXIT_INPUT with the sentence when the journal cannot be opened. */
typedef int journal_work(const command_call *call, journal *j, err *e);
int with_journal(const command_call *call, journal_work *work, err *e);

/* plane_load(), and levels left out where the gain is automatic: `gain` is a gain_choice. */
bool load_plane(journal *j, const char *singer, const char *vowel_or_null, int gain, plane *out,
                err *e);

/* The same of the singer who is the command's first operand; the journal is closed again. */
bool singer_plane(const command_call *call, const char *vowel_or_null, int gain, plane *out,
                  err *e);

#endif
