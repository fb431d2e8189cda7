/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/map_cells.h"
#include "base/array.h"

#include <math.h>
#include <stdlib.h>

enum {
    LOW_ST = 12,
    HIGH_ST = 120,
    LOUD_DB = 160, /* levels lie within +-160 dB, whatever their reference */
    CELLS_ACROSS = 2 * LOUD_DB / MAP_CELL_DB + 1,
    CELLS_UP = (HIGH_ST - LOW_ST) / MAP_CELL_ST + 1,
    NEAR = 3 /* steps from cell to cell that still hang together */
};

static const double least_s = 0.05; /* shorter visits are mostly the change itself */
static const double least_share = 0.001, least_group = 0.02; /* of all the time */

static double frame_seconds(const path *p)
{
    return p->n > 1 ? (p->time_s[p->n - 1] - p->time_s[0]) / (double)(p->n - 1) : 0;
}

/* Adds a take's frames to the grid of seconds [CELLS_UP][CELLS_ACROSS][2]; returns their sum. */
static double count_frames(const path *p, double *seconds)
{
    double frame_s = frame_seconds(p), sum = 0;
    for (size_t k = 0; k < p->n; k++) {
        double st = p->pitch_st[k], db = p->level_db[k];
        if ((p->reg[k] != 1 && p->reg[k] != 2) || !(st >= LOW_ST && st <= HIGH_ST) ||
            !(fabs(db) <= LOUD_DB))
            continue;
        size_t up = (size_t)lround((st - LOW_ST) / MAP_CELL_ST);
        size_t across = (size_t)lround((db + LOUD_DB) / MAP_CELL_DB);
        seconds[2 * (up * CELLS_ACROSS + across) + p->reg[k] - 1] += frame_s;
        sum += frame_s;
    }
    return sum;
}

static void list_cells(const double *seconds, double least, map *out)
{
    size_t room = 0;
    for (size_t i = 0; i < CELLS_UP * CELLS_ACROSS; i++) {
        const double *s = &seconds[2 * i];
        if (s[0] < least && s[1] < least)
            continue;
        array_reserve((void **)&out->cells, &room, out->n_cells + 1, sizeof *out->cells);
        out->cells[out->n_cells++] = (map_cell){(double)(i % CELLS_ACROSS) * MAP_CELL_DB - LOUD_DB,
                                                LOW_ST + (double)(i / CELLS_ACROSS) * MAP_CELL_ST,
                                                {s[0] < least ? 0 : s[0], s[1] < least ? 0 : s[1]}};
    }
}

static bool hang_together(const map_cell *a, const map_cell *b)
{
    return fabs(a->level_db - b->level_db) <= NEAR * MAP_CELL_DB &&
           fabs(a->pitch_st - b->pitch_st) <= NEAR * MAP_CELL_ST;
}

static double cell_seconds(const map_cell *c)
{
    return c->seconds[0] + c->seconds[1];
}

/* Gives every cell that hangs together with the first one its group; returns the group's time. */
static double spread_group(const map_cell *cells, size_t n, size_t first, size_t group, size_t *of,
                           size_t *queue)
{
    size_t n_queue = 0;
    double sum = 0;
    queue[n_queue++] = first;
    of[first] = group;
    for (size_t q = 0; q < n_queue; q++) {
        sum += cell_seconds(&cells[queue[q]]);
        for (size_t i = 0; i < n; i++)
            if (of[i] == 0 && hang_together(&cells[queue[q]], &cells[i])) {
                of[i] = group;
                queue[n_queue++] = i;
            }
    }
    return sum;
}

/* Drops the groups that hold less than `least` seconds. */
static void drop_strays(map *out, double least)
{
    size_t n = out->n_cells, groups = 0, kept = 0;
    size_t *of = xcalloc(n, sizeof *of), *queue = xcalloc(n, sizeof *queue);
    double *time = xcalloc(n + 1, sizeof *time); /* groups count from 1 */
    for (size_t i = 0; i < n; i++)
        if (of[i] == 0) {
            groups++;
            time[groups] = spread_group(out->cells, n, i, groups, of, queue);
        }
    for (size_t i = 0; i < n; i++)
        if (time[of[i]] >= least)
            out->cells[kept++] = out->cells[i];
        else
            out->stray_s += cell_seconds(&out->cells[i]);
    out->n_cells = kept;
    free(of);
    free(queue);
    free(time);
}

static void measure(map *out)
{
    map_extent x = {INFINITY, -INFINITY, INFINITY, -INFINITY};
    for (size_t i = 0; i < out->n_cells; i++) {
        const map_cell *c = &out->cells[i];
        x.lo_db = fmin(x.lo_db, c->level_db - MAP_CELL_DB / 2.0);
        x.hi_db = fmax(x.hi_db, c->level_db + MAP_CELL_DB / 2.0);
        x.lo_st = fmin(x.lo_st, c->pitch_st - MAP_CELL_ST / 2.0);
        x.hi_st = fmax(x.hi_st, c->pitch_st + MAP_CELL_ST / 2.0);
    }
    out->extent = x;
}

void map_cells_gather(const path *paths, size_t n, map *out)
{
    double *seconds = array_filled(2 * CELLS_UP * CELLS_ACROSS, 0), all = 0;
    for (size_t i = 0; i < n; i++)
        all += count_frames(&paths[i], seconds);
    list_cells(seconds, fmax(least_s, least_share * all), out);
    double listed = 0;
    for (size_t i = 0; i < out->n_cells; i++)
        listed += cell_seconds(&out->cells[i]);
    drop_strays(out, least_group * listed);
    measure(out);
    free(seconds);
}
