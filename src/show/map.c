/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/map.h"
#include "base/array.h"
#include "show/map_cells.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { LINE_POINTS = 33 };

static const double useless_st = 8;           /* a wider interval says nothing */
static const double near_db = 4, near_st = 3; /* a flip so near the cells belongs to them */

bool map_told(figure f)
{
    return isfinite(f.estimate) && f.hi95 - f.lo95 <= useless_st;
}

static bool is_stray(const boundary_flip *f, const map_extent *x)
{
    return !(f->level_db >= x->lo_db - near_db && f->level_db <= x->hi_db + near_db &&
             f->pitch_st >= x->lo_st - near_st && f->pitch_st <= x->hi_st + near_st);
}

static void gather_flips(const boundary *b, map *out)
{
    const boundary_flip *items;
    size_t n = boundary_flips(b, &items);
    out->flips = xcalloc(n, sizeof *out->flips);
    for (size_t i = 0; i < n; i++) {
        const boundary_flip *f = &items[i];
        if (is_stray(f, &out->extent)) {
            out->stray_flips[f->direction]++;
            out->doubtful_strays += f->weight < 0.5;
        } else
            out->flips[out->n_flips++] =
                (map_flip){f->direction, f->level_db, f->pitch_st, f->weight};
    }
}

/* The line ends where the takes end, or where its interval grows too wide to say anything. */
static void gather_line(const boundary *b, flip_direction direction, const map_extent *x,
                        map_line *line)
{
    double lo, hi;
    if (!boundary_levels(b, direction, &lo, &hi))
        return;
    lo = fmax(lo, x->lo_db);
    hi = fmin(hi, x->hi_db);
    line->level_db = xcalloc(LINE_POINTS, sizeof *line->level_db);
    line->pitch_st = xcalloc(LINE_POINTS, sizeof *line->pitch_st);
    for (size_t i = 0; i < LINE_POINTS && lo <= hi; i++) {
        double level = lo + (hi - lo) * (double)i / (LINE_POINTS - 1);
        figure pitch = boundary_pitch_at(b, direction, level);
        if (!map_told(pitch))
            continue;
        line->level_db[line->n] = level;
        line->pitch_st[line->n++] = pitch;
    }
}

void map_gather(const path *paths, size_t n, const boundary *b_or_null, map *out)
{
    const figure none = {(double)NAN, (double)NAN, (double)NAN};
    *out = (map){.takes = n, .hysteresis = none};
    map_cells_gather(paths, n, out);
    out->n_ranges = ranges_of(paths, n, &out->ranges);
    if (!b_or_null)
        return;
    gather_flips(b_or_null, out);
    gather_line(b_or_null, FLIP_UP, &out->extent, &out->line[FLIP_UP]);
    gather_line(b_or_null, FLIP_DOWN, &out->extent, &out->line[FLIP_DOWN]);
    for (int d = 0; d < 2; d++) {
        double lasted = boundary_lasted(b_or_null, (flip_direction)d);
        out->lasted_st[d] = isfinite(lasted) ? lasted : 0;
    }
    out->hysteresis = boundary_figure(b_or_null, BOUNDARY_HYSTERESIS);
}

void map_clear(map *m)
{
    free(m->cells);
    free(m->flips);
    free(m->ranges);
    for (int d = 0; d < 2; d++) {
        free(m->line[d].level_db);
        free(m->line[d].pitch_st);
    }
    memset(m, 0, sizeof *m);
}
