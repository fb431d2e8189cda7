/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_FLIP_CELLS_H
#define COMMAND_FLIP_CELLS_H

/* A flip as cells of a table, the same in every command. */

#include "base/table.h"
#include "register/flip.h"

#define FLIP_COLUMNS                                                                               \
    "time_s direction pitch_before_st pitch_after_st level_before_db level_after_db span_ms "      \
    "confidence leap_cents level_step_db spectral_step_db irregular_cycles seam_jnd kind"
void cell_flip(table_writer *w, const flip *f);

/* "add", "move", "confirm": what a person said of it; empty when the program alone heard it. */
void cell_origin(table_writer *w, const flip *f);

#endif
