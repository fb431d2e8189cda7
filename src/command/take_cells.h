/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_TAKE_CELLS_H
#define COMMAND_TAKE_CELLS_H

/* A take of the journal as cells of a table, the same in every command. */

#include "base/table.h"
#include "journal/checks.h"
#include "journal/journal.h"

void cell_file(table_writer *w, const journal_take *t); /* FILE or FILE@START-END */
void cell_set(table_writer *w, int bits);               /* "pitch,level"; empty when not stated */
void cell_register(table_writer *w, declared_register declared); /* "M1", "M2"; empty */
void cell_channel(table_writer *w, int channel);                 /* empty for 0 */
/* What a level with that frequency weighting ("C") is re: "dB SPL (C, 30 cm)" when calibrated, else
 * "dB re full scale (C)". */
void cell_level_unit(table_writer *w, const journal_take *t, const char *weighting);

/* Leq with A and Z, and the largest C-weighted levels with F and S, under the columns
 * TAKE_LEVEL_COLUMNS, whose scale take_level_notes() states. */
#define TAKE_LEVEL_COLUMNS "laeq_db lzeq_db lcfmax_db lcsmax_db"
void take_level_notes(table_writer *w);
void cell_levels(table_writer *w, const journal_take *t);

/* The names of the checks that failed and that warned, "none", or empty where the recording was
 * not checked. */
#define TAKE_CHECK_COLUMNS "failed warned"
void cell_checks(table_writer *w, const journal_take *t);
/* One check, as the command check prints it. */
#define CHECK_COLUMNS "check result figure unit remedy"
void cell_check(table_writer *w, const journal_check *c);

#endif
