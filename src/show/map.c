/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/map.h"
#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum {
    LOW_ST = 12,
    HIGH_ST = 120,
    LOUD_DB = 160, /* levels lie within +-160 dB, whatever their reference */
    CELLS_ACROSS = 2 * LOUD_DB / MAP_CELL_DB + 1,
    CELLS_UP = (HIGH_ST - LOW_ST) / MAP_CELL_ST + 1,
    LINE_POINTS = 33
};

static const double least_s = 0.05; /* shorter visits are mostly the change itself */

static double frame_seconds(const path *p)
{
    return p->n > 1 ? (p->time_s[p->n - 1] - p->time_s[0]) / (double)(p->n - 1) : 0;
}

/* Adds a take's frames to the grid of seconds [CELLS_UP][CELLS_ACROSS][2]. */
static void count_frames(const path *p, double *seconds)
{
    double frame_s = frame_seconds(p);
    for (size_t k = 0; k < p->n; k++) {
        double st = p->pitch_st[k], db = p->level_db[k];
        if ((p->reg[k] != 1 && p->reg[k] != 2) || !(st >= LOW_ST && st <= HIGH_ST) ||
            !(fabs(db) <= LOUD_DB))
            continue;
        size_t up = (size_t)lround((st - LOW_ST) / MAP_CELL_ST);
        size_t across = (size_t)lround((db + LOUD_DB) / MAP_CELL_DB);
        seconds[2 * (up * CELLS_ACROSS + across) + p->reg[k] - 1] += frame_s;
    }
}

static void gather_cells(const path *paths, size_t n, map *out)
{
    size_t room = 0;
    double *seconds = array_filled(2 * CELLS_UP * CELLS_ACROSS, 0);
    for (size_t i = 0; i < n; i++)
        count_frames(&paths[i], seconds);
    for (size_t i = 0; i < CELLS_UP * CELLS_ACROSS; i++) {
        const double *s = &seconds[2 * i];
        if (s[0] < least_s && s[1] < least_s)
            continue;
        array_reserve((void **)&out->cells, &room, out->n_cells + 1, sizeof *out->cells);
        out->cells[out->n_cells++] =
            (map_cell){(double)(i % CELLS_ACROSS) * MAP_CELL_DB - LOUD_DB,
                       LOW_ST + (double)(i / CELLS_ACROSS) * MAP_CELL_ST,
                       {s[0] < least_s ? 0 : s[0], s[1] < least_s ? 0 : s[1]}};
    }
    free(seconds);
}

static void gather_flips(const boundary *b, map *out)
{
    const boundary_flip *items;
    out->n_flips = boundary_flips(b, &items);
    out->flips = xcalloc(out->n_flips, sizeof *out->flips);
    for (size_t i = 0; i < out->n_flips; i++)
        out->flips[i] =
            (map_flip){items[i].direction, items[i].level_db, items[i].pitch_st, items[i].weight};
}

/* The line ends where the pitch is no longer told, which is never inside the levels sung. */
static void gather_line(const boundary *b, flip_direction direction, map_line *line)
{
    double lo, hi;
    if (!boundary_levels(b, direction, &lo, &hi))
        return;
    line->level_db = xcalloc(LINE_POINTS, sizeof *line->level_db);
    line->pitch_st = xcalloc(LINE_POINTS, sizeof *line->pitch_st);
    for (size_t i = 0; i < LINE_POINTS; i++) {
        double level = lo + (hi - lo) * (double)i / (LINE_POINTS - 1);
        figure pitch = boundary_pitch_at(b, direction, level);
        if (!isfinite(pitch.estimate))
            continue;
        line->level_db[line->n] = level;
        line->pitch_st[line->n++] = pitch;
    }
}

void map_gather(const path *paths, size_t n, const boundary *b_or_null, map *out)
{
    const figure none = {(double)NAN, (double)NAN, (double)NAN};
    *out = (map){.takes = n, .hysteresis = none};
    gather_cells(paths, n, out);
    if (!b_or_null)
        return;
    gather_flips(b_or_null, out);
    gather_line(b_or_null, FLIP_UP, &out->line[FLIP_UP]);
    gather_line(b_or_null, FLIP_DOWN, &out->line[FLIP_DOWN]);
    out->hysteresis = boundary_figure(b_or_null, BOUNDARY_HYSTERESIS);
}

void map_clear(map *m)
{
    free(m->cells);
    free(m->flips);
    for (int d = 0; d < 2; d++) {
        free(m->line[d].level_db);
        free(m->line[d].pitch_st);
    }
    memset(m, 0, sizeof *m);
}
