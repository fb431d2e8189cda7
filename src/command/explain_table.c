/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/explain_table.h"

void explain_table_rows(const explanation *why, table_writer *w)
{
    for (size_t i = 0; i < why->n; i++) {
        const explain_row *r = &why->rows[i];
        bool of_flip = r->about == EXPLAIN_FLIP;
        table_text(w, explain_about_name(r->about));
        table_text(w, r->take);
        table_number(w, r->time_s, 3);
        table_text(w, of_flip ? r->direction == FLIP_UP ? "up" : "down" : NULL);
        table_text(w, r->item);
        table_number(w, r->at, 2);
        table_text(w, r->at_unit);
        table_number(w, r->value, 2);
        table_text(w, r->unit);
        table_count(w, (long)r->part);
    }
}
