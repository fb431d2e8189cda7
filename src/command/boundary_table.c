/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/boundary_table.h"

#include "show/far_level.h"

#include <math.h>
#include <string.h>

static void note_attempts(const boundary *b, flip_direction direction, const char *key,
                          table_writer *w)
{
    size_t attempts, censored;
    boundary_attempts(b, direction, &attempts, &censored);
    table_note(w, key, "%zu, without a flip %zu", attempts, censored);
}

/* Which of line and parabola is more probable; figures are averages over both. */
static void note_curve(const boundary *b, table_writer *w)
{
    double curved;
    figure f = boundary_curve(b, &curved);
    if (isfinite(f.estimate))
        table_note(w, "curve", "%.4f st/dB^2 (%.4f to %.4f), with probability %.2f", f.estimate,
                   f.lo95, f.hi95, curved);
    else if (isfinite(curved))
        table_note(w, "curve", "straight with probability %.2f", 1 - curved);
    else
        table_note(w, "curve", "straight: a curve is tried from 9 flips over 8 dB on");
}

void boundary_table_far(const boundary *b, const char *key, const char *who, table_writer *w)
{
    for (int d = 0; d < 2; d++) {
        double lo, hi;
        if (!far_level(b, (flip_direction)d))
            continue;
        boundary_levels(b, (flip_direction)d, &lo, &hi);
        table_note(w, key, "%s%s was sung from %.1f to %.1f dB: at %.1f dB the line is prolonged",
                   who, boundary_row_name(d == FLIP_UP ? BOUNDARY_UP_PITCH : BOUNDARY_DOWN_PITCH),
                   lo + 0.0, hi + 0.0, boundary_at_db(b) + 0.0);
    }
}

void boundary_table_notes(const boundary *b, table_writer *w)
{
    table_note(w, "at_db", "%.2f", boundary_at_db(b));
    boundary_table_far(b, "far", "", w);
    note_attempts(b, FLIP_UP, "up.attempts", w);
    note_attempts(b, FLIP_DOWN, "down.attempts", w);
    note_curve(b, w);
    if (isfinite(boundary_scatter(b)))
        table_note(w, "session_scatter", "%.2f st, allowed for", boundary_scatter(b));
    for (int row = 0; row < BOUNDARY_ROWS; row++) {
        const char *reason = boundary_reason(b, (boundary_row)row);
        if (reason)
            table_note(w, boundary_row_name((boundary_row)row), "%s", reason);
    }
}

void boundary_table_row(table_writer *w, const char *parameter, figure f, const char *unit)
{
    int decimals = strcmp(unit, "st/dB") == 0 ? 4 : 3;
    table_text(w, parameter);
    table_number(w, f.estimate, decimals);
    table_number(w, f.lo95, decimals);
    table_number(w, f.hi95, decimals);
    table_text(w, unit);
}

void boundary_table_rows(const boundary *b, table_writer *w)
{
    for (int row = 0; row < BOUNDARY_ROWS; row++)
        boundary_table_row(w, boundary_row_name((boundary_row)row),
                           boundary_figure(b, (boundary_row)row),
                           boundary_row_unit((boundary_row)row));
}
