/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/harmonics.h"

#include "base/array.h"
#include "base/note.h"
#include "voice/heterodyne.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

static const double highest_hz = 6000;
static const heterodyne_window window = {0.030, 4};

static double *pitch_hz(const track *t)
{
    double *hz = xmalloc(t->n, sizeof *hz);
    for (size_t i = 0; i < t->n; i++)
        hz[i] = note_to_hz(t->pitch_st[i]);
    return hz;
}

static int harmonics_below(const signal *x, double hz, int most)
{
    return (int)fmin(most, floor(fmin(highest_hz, 0.45 * x->rate_hz) / hz));
}

static float db(float power)
{
    return power > 0 ? 3.01029996f * log2f(power) : -INFINITY;
}

void harmonics_measure(const signal *x, track *t)
{
    double *hz = pitch_hz(t);
    heterodyne *het = heterodyne_new(x, t->hop_s, t->n, HETERODYNE_MOST);
    bool voiced = heterodyne_follow(het, hz);
    for (size_t i = 0; voiced && i < t->n; i++) {
        if (isnan(hz[i]))
            continue;
        float complex line[HETERODYNE_MOST];
        int harmonics = harmonics_below(x, hz[i], TRACK_HARMONICS);
        heterodyne_lines(het, i, window, 2 * harmonics + 1, line);
        for (int h = 0; h < harmonics; h++) {
            size_t at = i * TRACK_HARMONICS + (size_t)h;
            t->harmonic_db[at] = db(2 * line_power(line[2 * h + 1]));
            t->noise_db[at] = db(line_power(line[2 * h]) + line_power(line[2 * h + 2]));
        }
    }
    heterodyne_free(het);
    free(hz);
}
