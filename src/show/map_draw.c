/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/array.h"
#include "base/note.h"
#include "show/map.h"
#include "show/note_tics.h"
#include "show/page_words.h"
#include "show/templates.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_LONGEST = 64, TITLE_LONGEST = 24, VOWEL_LONGEST = 12, ANY_LENGTH = 1 << 20 };

static const double cell_gap = 0.04; /* of a cell, on each side: cells stay apart in grey print */

/* Small maps are half as many again across as down; on a page two across. */
static size_t panel_columns(size_t n, bool page)
{
    size_t columns = page ? 2 : (size_t)ceil(sqrt(1.5 * (double)n));
    return columns > n ? n : columns;
}

static void widen(double *lo, double *hi, double least, double empty_lo)
{
    if (!(*hi >= *lo)) {
        *lo = empty_lo;
        *hi = empty_lo + least;
    }
    double more = fmax(0, least - (*hi - *lo)) / 2;
    *lo -= more;
    *hi += more;
}

/* What was sung, with a margin; the boundary's band is cut to it. An empty map shows C3 to C4. */
static map_extent window_of(const map *maps, size_t n)
{
    map_extent w = {INFINITY, -INFINITY, INFINITY, -INFINITY};
    for (size_t i = 0; i < n; i++) {
        const map_extent *x = &maps[i].extent;
        w.lo_db = fmin(w.lo_db, x->lo_db);
        w.hi_db = fmax(w.hi_db, x->hi_db);
        w.lo_st = fmin(w.lo_st, x->lo_st);
        w.hi_st = fmax(w.hi_st, x->hi_st);
        for (size_t f = 0; f < maps[i].n_flips; f++) {
            const map_flip *p = &maps[i].flips[f];
            w.lo_db = fmin(w.lo_db, p->level_db);
            w.hi_db = fmax(w.hi_db, p->level_db);
            w.lo_st = fmin(w.lo_st, p->pitch_st);
            w.hi_st = fmax(w.hi_st, p->pitch_st);
        }
    }
    widen(&w.lo_db, &w.hi_db, 16, -10);
    widen(&w.lo_st, &w.hi_st, 12, 48);
    return (map_extent){w.lo_db - 1, w.hi_db + 1, w.lo_st - 0.7, w.hi_st + 0.7};
}

/* Each map is one index of every block, which keeps its place when it is empty. */
static void index_begin(gnuplot *g, size_t i)
{
    if (i) {
        gnuplot_row(g, NULL, 0);
        gnuplot_row(g, NULL, 0);
    }
    gnuplot_row_nowhere(g, 5);
}

static void corner(gnuplot *g, const map_cell *c, double right, double up)
{
    double half = 0.5 - cell_gap;
    double at[2] = {c->level_db + right * half * MAP_CELL_DB,
                    c->pitch_st + up * half * MAP_CELL_ST};
    gnuplot_row(g, at, 2);
}

/* A cell sung in one register is a tile; where both were sung each has a half of it: M1 the
 * lower right, M2 the upper left. */
static void send_tile(gnuplot *g, const map_cell *c, int reg)
{
    bool both = c->seconds[0] > 0 && c->seconds[1] > 0;
    gnuplot_row(g, NULL, 0);
    corner(g, c, -1, -1);
    if (!both || reg == 0)
        corner(g, c, 1, -1);
    corner(g, c, 1, 1);
    if (!both || reg == 1)
        corner(g, c, -1, 1);
    corner(g, c, -1, -1);
}

static void send_tiles(gnuplot *g, const map *maps, size_t n, int reg)
{
    gnuplot_data(g, reg == 0 ? "heavy" : "light");
    for (size_t i = 0; i < n; i++) {
        index_begin(g, i);
        for (size_t c = 0; c < maps[i].n_cells; c++)
            if (maps[i].cells[c].seconds[reg] > 0)
                send_tile(g, &maps[i].cells[c], reg);
    }
    gnuplot_data_end(g);
}

static double cut(double st, const map_extent *w)
{
    return fmin(fmax(st, w->lo_st), w->hi_st);
}

double map_line_level(const map_line *l, size_t k, double lo_db, double hi_db)
{
    bool flat = l->n > 1 && l->level_db[l->n - 1] == l->level_db[0];
    return flat ? lo_db + (hi_db - lo_db) * (double)k / (double)(l->n - 1) : l->level_db[k];
}

/* level, pitch, band's lower and upper edge */
static void send_lines(gnuplot *g, const char *name, const map *maps, size_t n, flip_direction d,
                       const map_extent *w)
{
    gnuplot_data(g, name);
    for (size_t i = 0; i < n; i++) {
        const map_line *line = &maps[i].line[d];
        index_begin(g, i);
        for (size_t k = 0; k < line->n; k++) {
            figure p = line->pitch_st[k];
            bool seen = p.estimate >= w->lo_st && p.estimate <= w->hi_st;
            double row[4] = {map_line_level(line, k, w->lo_db, w->hi_db),
                             seen ? p.estimate : (double)NAN, cut(p.lo95, w), cut(p.hi95, w)};
            gnuplot_row(g, row, 4);
        }
    }
    gnuplot_data_end(g);
}

/* level, pitch, direction (0 up, 1 down), 1 when asserted */
static void send_flips(gnuplot *g, const map *maps, size_t n)
{
    gnuplot_data(g, "flips");
    for (size_t i = 0; i < n; i++) {
        index_begin(g, i);
        for (size_t f = 0; f < maps[i].n_flips; f++) {
            const map_flip *p = &maps[i].flips[f];
            double row[4] = {p->level_db, p->pitch_st, p->direction == FLIP_DOWN,
                             p->confidence >= 0.5};
            gnuplot_row(g, row, 4);
        }
    }
    gnuplot_data_end(g);
}

/* What was softest and loudest of each register on a semitone of three takes or more: level, pitch,
 * 1 or 2. Nothing on small maps; what lies outside the window is not drawn. */
static void send_ranges(gnuplot *g, const map *m, bool none)
{
    gnuplot_data(g, "ranges");
    for (size_t i = 0; !none && i < m->n_ranges; i++) {
        const range *r = &m->ranges[i];
        if (!isfinite(r->floor_db.lo95))
            continue;
        gnuplot_row(g, (const double[]){r->floor_db.estimate, r->pitch_st, r->reg}, 3);
        gnuplot_row(g, (const double[]){r->ceiling_db.estimate, r->pitch_st, r->reg}, 3);
    }
    gnuplot_data_end(g);
}

/* For drawing with characters: level, pitch, 1 heavy, 2 light, 3 both. */
static void send_cells(gnuplot *g, const map *maps, size_t n)
{
    gnuplot_data(g, "cells");
    for (size_t i = 0; i < n; i++) {
        index_begin(g, i);
        for (size_t c = 0; c < maps[i].n_cells; c++) {
            const map_cell *p = &maps[i].cells[c];
            double row[3] = {p->level_db, p->pitch_st,
                             (p->seconds[0] > 0) + 2 * (p->seconds[1] > 0)};
            gnuplot_row(g, row, 3);
        }
    }
    gnuplot_data_end(g);
}

static void send_data(gnuplot *g, const map *maps, size_t n, const map *all_or_null,
                      const map_extent *w)
{
    send_tiles(g, maps, n, 0);
    send_tiles(g, maps, n, 1);
    send_cells(g, maps, n);
    send_flips(g, maps, n);
    send_lines(g, "up", maps, n, FLIP_UP, w);
    send_lines(g, "down", maps, n, FLIP_DOWN, w);
    send_lines(g, "all_up", all_or_null, all_or_null != NULL, FLIP_UP, w);
    send_lines(g, "all_down", all_or_null, all_or_null != NULL, FLIP_DOWN, w);
}

static void send_window(gnuplot *g, const map_extent *w, double a4_hz, bool small)
{
    gnuplot_number(g, "lo_db", w->lo_db);
    gnuplot_number(g, "hi_db", w->hi_db);
    gnuplot_number(g, "lo_st", w->lo_st);
    gnuplot_number(g, "hi_st", w->hi_st);
    gnuplot_number(g, "tuning", 12 * log2(a4_hz / 440));
    gnuplot_number(g, "db_step", w->hi_db - w->lo_db > (small ? 25 : 50) ? 10 : 5);
    bool few = w->hi_st - w->lo_st > (small ? 14 : 40);
    note_tics_send(g, "named_tics", w->lo_st, w->hi_st, a4_hz, few ? NAME_FEW : NAME_ALL);
    note_tics_send(g, "bare_tics", w->lo_st, w->hi_st, a4_hz, NAME_NONE);
}

static size_t count_flips(const map *m, flip_direction direction)
{
    size_t n = m->stray_flips[direction];
    for (size_t i = 0; i < m->n_flips; i++)
        n += m->flips[i].direction == direction;
    return n;
}

static size_t count_doubtful(const map *m)
{
    size_t n = m->doubtful_strays;
    for (size_t i = 0; i < m->n_flips; i++)
        n += m->flips[i].confidence < 0.5;
    return n;
}

/* The caller frees. */
static char *counts_of(const map *m, const map_labels *l)
{
    size_t doubtful = count_doubtful(m), up = count_flips(m, FLIP_UP);
    const char *plural = l->sessions == 1 ? "" : "s";
    if (l->words)
        return xformat("%zu session%s in all", l->sessions, plural);
    char *counts = xformat("%zu take%s in %zu session%s, %zu flip%s up and %zu down", m->takes,
                           m->takes == 1 ? "" : "s", l->sessions, plural, up, up == 1 ? "" : "s",
                           count_flips(m, FLIP_DOWN));
    char *whole =
        doubtful ? xformat("%s, %zu of them doubtful", counts, doubtful) : xstrdup(counts);
    free(counts);
    return whole;
}

void map_send_level_axis(gnuplot *g, const map_labels *l)
{
    char *axis = l->pitch_only ? xformat("level: %s", l->level_scale)
                               : xformat("softer  ←   level, %s   →  louder", l->level_scale);
    gnuplot_text(g, "level_axis", axis, ANY_LENGTH);
    gnuplot_number(g, "has_levels", !l->pitch_only);
    free(axis);
}

static void send_titles(gnuplot *g, const map *m, const map_labels *l)
{
    gnuplot_text(g, "singer", l->singer, NAME_LONGEST);
    gnuplot_text(g, "vowel", l->vowel, VOWEL_LONGEST);
    char *counts = counts_of(m, l);
    gnuplot_text(g, "counts", counts, ANY_LENGTH);
    free(counts);
    char *pitch = xformat("pitch (note names, A4 = %g Hz)", l->a4_hz);
    gnuplot_text(g, "pitch_axis", pitch, ANY_LENGTH);
    free(pitch);
    gnuplot_text(g, "level_scale", l->level_scale, ANY_LENGTH);
    map_send_level_axis(g, l);
}

static void send_words(gnuplot *g, const map *m, const map_labels *l, size_t longest)
{
    char *words = map_words(m, l);
    page_words_send(g, words, longest);
    free(words);
}

static bool draw(const map *maps, const char *const *titles, size_t n, const map *all,
                 const map_labels *labels, const picture *where, err *e)
{
    gnuplot *g = gnuplot_new();
    bool small = titles != NULL, characters = where->kind == PICTURE_SCREEN;
    size_t longest = characters ? (size_t)where->columns - 2 : 104;
    char variable[32];
    map_extent w = window_of(maps, n);
    gnuplot_number(g, "panels", (double)n);
    gnuplot_number(g, "columns", small ? (double)panel_columns(n, where->kind == PICTURE_PAGE) : 1);
    gnuplot_number(g, "small", small);
    gnuplot_commands(g, "array titles[panels]\n");
    for (size_t i = 0; i < n; i++) {
        snprintf(variable, sizeof variable, "titles[%zu]", i + 1);
        gnuplot_text(g, variable, titles ? titles[i] : "", TITLE_LONGEST);
    }
    gnuplot_number(g, "has_all", all != NULL);
    send_titles(g, all ? all : &maps[0], labels);
    if (all || !titles)
        send_words(g, all ? all : &maps[0], labels, longest);
    else
        page_words_send(g, labels->words, longest);
    send_window(g, &w, labels->a4_hz, small);
    send_ranges(g, &maps[0], small || labels->pitch_only);
    send_data(g, maps, n, all, &w);
    gnuplot_commands(g, characters ? plot_map_text : plot_map);
    bool ok = picture_draw(g, where, e);
    gnuplot_free(g);
    return ok;
}

bool map_draw(const map *m, const map_labels *labels, const picture *where, err *e)
{
    return draw(m, NULL, 1, NULL, labels, where, e);
}

bool map_draw_sessions(const map *sessions, const char *const *titles, size_t n, const map *all,
                       const map_labels *labels, const picture *where, err *e)
{
    return draw(sessions, titles, n, all, labels, where, e);
}

bool map_draw_beside(const map *maps, const char *const *titles, size_t n, const map_labels *labels,
                     const picture *where, err *e)
{
    return draw(maps, titles, n, NULL, labels, where, e);
}

int map_height_px(int width_px, size_t sessions_or_0)
{
    size_t columns = panel_columns(sessions_or_0, false);
    size_t rows = sessions_or_0 ? (sessions_or_0 + columns - 1) / columns : 0;
    double at_1200 = rows ? 300 + 270 * (double)rows : 920;
    return (int)lround(at_1200 * width_px / 1200);
}

picture map_on_page(size_t sessions_or_0, char **svg)
{
    size_t rows = (sessions_or_0 + 1) / 2;
    return picture_on_page(1200, rows ? 200 + 420 * (int)rows : 980, svg);
}
