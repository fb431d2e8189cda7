/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/measure_cells.h"

#include "base/array.h"
#include "base/number.h"
#include "voice/measures.h"

#include <math.h>
#include <stdlib.h>

static void add_column(char **columns, const char *name)
{
    char *longer = xformat("%s %s", *columns, name);
    free(*columns);
    *columns = longer;
}

char *measure_columns(const char *columns, size_t harmonics)
{
    char *all = xstrdup(columns);
    for (int m = 0; m < MEASURES; m++)
        add_column(&all, measure_name((measure)m));
    for (size_t h = 1; h <= harmonics; h++) {
        char *name = xformat("h%zu_db", h);
        add_column(&all, name);
        free(name);
    }
    return all;
}

void measure_note_take(table_writer *w, const char *take, bool calibrated, const meter_levels *l)
{
    const double shown[] = {l->leq_db[WEIGHTING_A], l->leq_db[WEIGHTING_C], l->leq_db[WEIGHTING_Z],
                            l->max_db[METER_FAST][WEIGHTING_C], l->max_db[METER_SLOW][WEIGHTING_C]};
    char text[sizeof shown / sizeof *shown][NUMBER_SIZE];
    for (size_t i = 0; i < sizeof shown / sizeof *shown; i++)
        number_fixed(shown[i], 1, text[i]);
    table_note(w, "take_levels", "LAeq %s, LCeq %s, LZeq %s, LCFmax %s, LCSmax %s %s: %s", text[0],
               text[1], text[2], text[3], text[4],
               calibrated ? "dB SPL (30 cm)" : "dB re full scale", take);
}

void measure_notes(table_writer *w)
{
    table_note(w, "measures",
               "h1_h2, balance (1 kHz and up over below), hnr, cpps: differences in "
               "dB; slopes in dB per octave; h1, h2, ...: levels of harmonics below "
               "5 kHz on level_scale; laf to lzs: levels with A, C, Z and F, S on "
               "the same reference");
}

void measure_cells(table_writer *w, const track *t, size_t frame, size_t harmonics, size_t *level)
{
    const measures *m = t->measures;
    for (size_t i = 0; i < MEASURES; i++)
        table_number(w, (double)m->value[frame * MEASURES + i], 2);
    for (size_t h = 0; h < harmonics; h++)
        table_number(w, h < m->harmonics[frame] ? (double)m->harmonic_db[*level + h] : (double)NAN,
                     2);
    *level += m->harmonics[frame];
}
