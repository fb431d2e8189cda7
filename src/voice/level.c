/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/level.h"

#include <math.h>

void level_measure(const signal *s, double hop_s, size_t n, double *level_db)
{
    double window[LEVEL_WINDOW_CELLS];
    for (int i = 0; i < LEVEL_WINDOW_CELLS; i++)
        window[i] = 1 - cos(2 * M_PI * (i + 0.5) / LEVEL_WINDOW_CELLS);
    for (size_t f = 0; f < n; f++) {
        long first = lround((double)f * hop_s / s->cell_s) - LEVEL_WINDOW_CELLS / 2;
        double sum = 0, weight = 0;
        for (int i = 0; i < LEVEL_WINDOW_CELLS; i++) {
            long cell = first + i;
            if (cell < 0 || cell >= (long)s->n_cells)
                continue;
            sum += window[i] * (double)s->power[cell];
            weight += window[i];
        }
        level_db[f] = sum > 0 ? 10 * log10(sum / weight) : -(double)INFINITY;
    }
}

double level_at_distance(double level_db, double from_cm, double to_cm)
{
    return level_db - 20 * log10(to_cm / from_cm);
}

double level_less_noise(double total_db, double noise_db)
{
    if (!(total_db > noise_db))
        return (double)NAN;
    return total_db + 10 * log10(-expm1((noise_db - total_db) * M_LN10 / 10));
}
