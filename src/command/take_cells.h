/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_TAKE_CELLS_H
#define COMMAND_TAKE_CELLS_H

/* A take of the journal as cells of a table, the same in every command. */

#include "base/table.h"
#include "journal/journal.h"

void cell_file(table_writer *w, const journal_take *t); /* FILE or FILE@START-END */
void cell_set(table_writer *w, int bits);               /* "pitch,level"; empty when not stated */
void cell_register(table_writer *w, declared_register declared); /* "M1", "M2"; empty */
/* "dB SPL" at 30 cm, or "dB FS", re full scale */
void cell_level_unit(table_writer *w, const journal_take *t);

#endif
