/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_MEASURE_CELLS_H
#define COMMAND_MEASURE_CELLS_H

/* The measures of frames as columns of a table: those of voice/measures.h under their names, then
 * h1_db, h2_db, ... for as many harmonics as any frame of any take has. */

#include "base/table.h"
#include "sound/meter.h"
#include "voice/track.h"

#include <stdbool.h>
#include <stddef.h>

/* `columns` with these on the right, `harmonics` of h. The caller frees. */
char *measure_columns(const char *columns, size_t harmonics);
/* What the columns are. */
void measure_notes(table_writer *w);
/* The levels of a take as a whole. */
void measure_note_take(table_writer *w, const char *take, bool calibrated, const meter_levels *l);
/* The cells of a frame. Frames come in their order: *level, 0 at first, is where the harmonics of
 * the next one begin. `harmonics` is the number of h columns. */
void measure_cells(table_writer *w, const track *t, size_t frame, size_t harmonics, size_t *level);

#endif
