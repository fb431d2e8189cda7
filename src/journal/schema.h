/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_SCHEMA_H
#define JOURNAL_SCHEMA_H

/* The tables of the journal (docs/journal.md) and what tells a journal from other databases. */

#include "journal/journal.h"

enum { SCHEMA_VERSION = 4 };

/* Tells what the open file is; in an empty one makes the tables when `mode` is JOURNAL_WRITE,
 * and brings those of an older version up to date in either mode, all of it or nothing. Fails
 * with a sentence on another program's database and on a newer seamline's. */
bool schema_ready(journal *j, journal_mode mode, err *e);

#endif
