/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/held_draw.h"

#include "base/array.h"
#include "show/templates.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { NAME_LONGEST = 64, LABEL_LONGEST = 100, NAME_SIZE = 16 };
static const double DAY_S = 86400;

static double place(const held_chart *c, size_t i)
{
    return c->points[i].x * (c->by_date ? DAY_S : 1);
}

/* Begins panel k of a block. */
static void send_index(gnuplot *g, int k)
{
    const double none[2] = {NAN, NAN};
    for (int i = 0; k && i < 2; i++)
        gnuplot_row(g, NULL, 0);
    gnuplot_row(g, none, 2);
}

static void send_points(gnuplot *g, const held_chart *c, int panel, bool lost)
{
    send_index(g, panel);
    for (size_t i = 0; i < c->n; i++) {
        double row[2] = {place(c, i), c->points[i].value[panel]};
        if (!isnan(row[1]) && c->points[i].lost[panel] == lost)
            gnuplot_row(g, row, 2);
    }
}

/* The median of each day; of recordings that of all, as a line through them. */
static void send_middle(gnuplot *g, const held_chart *c, int panel)
{
    double *values = xmalloc(c->n, sizeof *values);
    send_index(g, panel);
    for (size_t first = 0, end; first < c->n; first = end) {
        size_t n = 0;
        for (end = first; end < c->n && (!c->by_date || place(c, end) == place(c, first)); end++)
            if (!isnan(c->points[end].value[panel]))
                values[n++] = c->points[end].value[panel];
        gsl_sort(values, 1, n);
        for (size_t i = first; n && i<end; i += end - first> 1 ? end - first - 1 : 1) {
            double row[2] = {place(c, i), gsl_stats_median_from_sorted_data(values, 1, n)};
            gnuplot_row(g, row, 2);
        }
    }
    free(values);
}

static void send_axis(gnuplot *g, const held_chart *c, int panel)
{
    static const char *const titles[HELD_PANELS] = {
        "held pitch: steadiness, cents", "held level: steadiness, dB",
        "varied pitch moves level, dB/octave", "varied level moves pitch, cents/10 dB"};
    char variable[NAME_SIZE];
    double lo = 0, hi = 0;
    for (size_t i = 0; i < c->n; i++) {
        lo = fmin(lo, c->points[i].value[panel]);
        hi = fmax(hi, c->points[i].value[panel]);
    }
    double more = hi > lo ? 0.08 * (hi - lo) : 1;
    snprintf(variable, sizeof variable, "lo[%d]", panel + 1);
    gnuplot_number(g, variable, lo < 0 ? lo - more : 0);
    snprintf(variable, sizeof variable, "hi[%d]", panel + 1);
    gnuplot_number(g, variable, hi + more);
    snprintf(variable, sizeof variable, "titles[%d]", panel + 1);
    gnuplot_text(g, variable, titles[panel], LABEL_LONGEST);
}

static void send_x(gnuplot *g, const held_chart *c)
{
    double first = c->n ? place(c, 0) : 0, last = c->n ? place(c, c->n - 1) : 0;
    double margin = 0.08 * fmax(last - first, c->by_date ? 2 * DAY_S : 2);
    gnuplot_number(g, "by_date", c->by_date);
    gnuplot_number(g, "first_x", first);
    gnuplot_number(g, "last_x", last);
    gnuplot_number(g, "lo_x", first - margin);
    gnuplot_number(g, "hi_x", last + margin);
}

bool held_draw(const held_chart *c, const picture *where, err *e)
{
    gnuplot *g = gnuplot_new();
    char *counts = xformat("what was held, in %zu take%s", c->n, c->n == 1 ? "" : "s");
    gnuplot_text(g, "singer", c->singer, NAME_LONGEST);
    gnuplot_text(g, "counts", counts, LABEL_LONGEST);
    free(counts);
    send_x(g, c);
    gnuplot_commands(g, "array lo[4]\narray hi[4]\narray titles[4]\n");
    for (int k = 0; k < HELD_PANELS; k++)
        send_axis(g, c, k);
    for (int lost = 0; lost < 2; lost++) {
        gnuplot_data(g, lost ? "lost" : "kept");
        for (int k = 0; k < HELD_PANELS; k++)
            send_points(g, c, k, lost);
        gnuplot_data_end(g);
    }
    gnuplot_data(g, "middle");
    for (int k = 0; k < HELD_PANELS; k++)
        send_middle(g, c, k);
    gnuplot_data_end(g);
    gnuplot_commands(g, plot_held);
    bool fine = picture_draw(g, where, e);
    gnuplot_free(g);
    return fine;
}
