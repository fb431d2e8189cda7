/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/flip_cells.h"

void cell_flip(table_writer *w, const flip *f)
{
    table_number(w, f->time_s, 3);
    table_text(w, f->direction == FLIP_UP ? "up" : "down");
    table_number(w, f->pitch_before_st, 2);
    table_number(w, f->pitch_after_st, 2);
    table_number(w, f->level_before_db, 1);
    table_number(w, f->level_after_db, 1);
    table_number(w, f->span_ms, 0);
    table_number(w, f->confidence, 2);
    table_number(w, f->leap_cents, 0);
    table_number(w, f->level_step_db, 1);
    table_number(w, f->spectral_step_db, 1);
    table_count(w, f->irregular_cycles);
    table_number(w, f->seam_jnd, 1);
    table_text(w, flip_kind_name(f->kind));
}

void cell_origin(table_writer *w, const flip *f)
{
    static const char *const words[] = {
        [FLIP_ADDED] = "add", [FLIP_MOVED] = "move", [FLIP_CONFIRMED] = "confirm"};
    table_text(w, words[f->origin]);
}
