/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/compare_draw.h"

#include "base/array.h"
#include "show/note_tics.h"
#include "show/page_words.h"
#include "show/templates.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { LABEL_LONGEST = 200, TICS_LONGEST = 1 << 16 };

static const double shown_st = 4; /* so much of a band or interval makes the axis wider */

static void take_in(figure f, double *lo, double *hi)
{
    if (!isfinite(f.estimate))
        return;
    *lo = fmin(*lo, fmin(f.estimate, fmax(f.lo95, f.estimate - shown_st)));
    *hi = fmax(*hi, fmax(f.estimate, fmin(f.hi95, f.estimate + shown_st)));
}

static map_extent plane_of(const compare_shown *c)
{
    map_extent w = {INFINITY, -INFINITY, INFINITY, -INFINITY};
    for (size_t i = 0; i < c->n; i++)
        for (int d = 0; d < 2; d++) {
            const map_line *l = &c->maps[i].line[d];
            for (size_t k = 0; k < l->n; k++) {
                w.lo_db = fmin(w.lo_db, l->level_db[k]);
                w.hi_db = fmax(w.hi_db, l->level_db[k]);
                take_in(l->pitch_st[k], &w.lo_st, &w.hi_st);
            }
        }
    if (!(w.hi_db >= w.lo_db))
        return (map_extent){-10, 10, 48, 60};
    return (map_extent){w.lo_db - 2, w.hi_db + 2, w.lo_st - 1, w.hi_st + 1};
}

static void send_lines(gnuplot *g, const char *name, const compare_shown *c, flip_direction d,
                       const map_extent *w)
{
    gnuplot_data(g, name);
    for (size_t i = 0; i < c->n; i++) {
        const map_line *l = &c->maps[i].line[d];
        for (int blank = 0; i && blank < 2; blank++)
            gnuplot_row(g, NULL, 0);
        gnuplot_row_nowhere(g, 4);
        for (size_t k = 0; k < l->n; k++) {
            figure p = l->pitch_st[k];
            gnuplot_row(g,
                        (const double[]){map_line_level(l, k, w->lo_db, w->hi_db), p.estimate,
                                         p.lo95, p.hi95},
                        4);
        }
    }
    gnuplot_data_end(g);
}

/* A block of rows for each singer: a row for the name, then one for each level. */
static void send_differences(gnuplot *g, const compare_shown *c)
{
    double lo = -1, hi = 1;
    gnuplot_data(g, "diff");
    for (size_t i = 0; i + 1 < c->n; i++)
        for (size_t k = 0; k < c->n_levels; k++)
            for (int d = 0; d < 2; d++) {
                figure f = c->differences[i].at[k][d];
                double row[5] = {f.estimate, f.lo95, f.hi95,
                                 (double)(i * (c->n_levels + 1) + k + 1), d};
                if (!isfinite(f.estimate))
                    continue;
                gnuplot_row(g, row, 5);
                take_in(f, &lo, &hi);
            }
    gnuplot_data_end(g);
    gnuplot_number(g, "lo_diff", lo - 0.5);
    gnuplot_number(g, "hi_diff", hi + 0.5);
}

static void send_level_tics(gnuplot *g, const compare_shown *c, bool known)
{
    static const char *const names[COMPARE_LEVELS] = {"soft", "middle", "loud"};
    char *tics = xstrdup("set ytics (");
    for (size_t i = 0; i + 1 < c->n; i++)
        for (size_t k = 0; k < c->n_levels; k++) {
            char *level = known ? xformat("%s%s%.0f dB", c->n_levels > 1 ? names[k] : "",
                                          c->n_levels > 1 ? ", " : "", round(c->at_db[k]) + 0.0)
                                : xstrdup("any level");
            char *longer = xformat("%s%s\"%s\" %zu", tics, i || k ? ", " : "", level,
                                   i * (c->n_levels + 1) + k + 1);
            free(level);
            free(tics);
            tics = longer;
        }
    char *whole = xformat("%s)", tics);
    gnuplot_text(g, "level_tics", whole, TICS_LONGEST);
    free(whole);
    free(tics);
}

static void send_texts(gnuplot *g, const compare_shown *c, const map_labels *l)
{
    char variable[32];
    gnuplot_number(g, "singers", (double)c->n);
    gnuplot_number(g, "levels", (double)c->n_levels);
    gnuplot_commands(g, "array names[singers]\n");
    for (size_t i = 0; i < c->n; i++) {
        snprintf(variable, sizeof variable, "names[%zu]", i + 1);
        gnuplot_text(g, variable, c->names[i], COMPARE_NAME);
    }
    char *counts = xformat("%s%s%s%zu session%s in all", *l->vowel ? "vowel " : "", l->vowel,
                           *l->vowel ? " · " : "", l->sessions, l->sessions == 1 ? "" : "s");
    char *pitch = xformat("pitch (note names, A4 = %g Hz)", l->a4_hz);
    gnuplot_text(g, "title", l->singer, LABEL_LONGEST);
    gnuplot_text(g, "counts", counts, LABEL_LONGEST);
    gnuplot_text(g, "pitch_axis", pitch, LABEL_LONGEST);
    map_send_level_axis(g, l);
    page_words_send(g, l->words, 104);
    free(counts);
    free(pitch);
}

bool compare_draw(const compare_shown *c, const map_labels *labels, const picture *where, err *e)
{
    if (where->kind == PICTURE_SCREEN)
        return map_draw_beside(c->maps, c->names, c->n, labels, where, e);
    gnuplot *g = gnuplot_new();
    map_extent w = plane_of(c);
    send_texts(g, c, labels);
    gnuplot_number(g, "lo_db", w.lo_db);
    gnuplot_number(g, "hi_db", w.hi_db);
    gnuplot_number(g, "lo_st", w.lo_st);
    gnuplot_number(g, "hi_st", w.hi_st);
    gnuplot_number(g, "db_step", w.hi_db - w.lo_db > 50 ? 10 : 5);
    note_tics_send(g, "named_tics", w.lo_st, w.hi_st, labels->a4_hz,
                   w.hi_st - w.lo_st > 40 ? NAME_FEW : NAME_ALL);
    send_level_tics(g, c, !labels->pitch_only);
    send_lines(g, "up", c, FLIP_UP, &w);
    send_lines(g, "down", c, FLIP_DOWN, &w);
    send_differences(g, c);
    gnuplot_commands(g, plot_compare);
    bool ok = picture_draw(g, where, e);
    gnuplot_free(g);
    return ok;
}

int compare_height_px(size_t singers)
{
    int rows = 120 * (int)(singers - 1), words = 27 * (4 * (int)(singers - 1) + 1);
    return 260 + 30 * (int)((singers + 2) / 3) + (rows > 480 ? rows : 480) +
           (words < 432 ? words : 432);
}
