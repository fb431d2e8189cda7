/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/held_draw.h"

#include "base/array.h"
#include "show/page_words.h"
#include "show/templates.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { NAME_LONGEST = 64, LABEL_LONGEST = 100, NAME_SIZE = 16 };
static const double DAY_S = 86400;

held_point held_point_of(double x, const held_score *h, int hold)
{
    int lost = hold < 0 ? 0 : hold & ~h->held;
    bool pitch = lost & LESSON_PITCH, level = lost & LESSON_LEVEL;
    double level_leak = h->unit == LEAK_DB_PER_OCTAVE ? h->leak : (double)NAN;
    double pitch_leak = h->unit == LEAK_CENTS_PER_10_DB ? h->leak : (double)NAN;
    return (held_point){
        .x = x,
        .value = {h->pitch_steady_cents, h->level_steady_db, level_leak, pitch_leak},
        .lost = {pitch, level, level, pitch}};
}

static double place(const held_chart *c, size_t i)
{
    return c->points[i].x * (c->by_date ? DAY_S : 1);
}

/* Begins panel k of a block. */
static void send_index(gnuplot *g, int k)
{
    for (int i = 0; k && i < 2; i++)
        gnuplot_row(g, NULL, 0);
    gnuplot_row_nowhere(g, 2);
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

/* Of the values of points first..end-1, or of their sizes; NaN without any. */
static double median(const held_chart *c, int panel, size_t first, size_t end, bool sizes)
{
    size_t n = 0;
    double *values = xmalloc(end - first, sizeof *values), middle = (double)NAN;
    for (size_t i = first; i < end; i++) {
        double value = c->points[i].value[panel];
        if (!isnan(value))
            values[n++] = sizes ? fabs(value) : value;
    }
    gsl_sort(values, 1, n);
    if (n)
        middle = gsl_stats_median_from_sorted_data(values, 1, n);
    free(values);
    return middle;
}

/* The median of each day; of recordings that of all, as a line through them. */
static void send_middle(gnuplot *g, const held_chart *c, int panel)
{
    send_index(g, panel);
    for (size_t first = 0, end; first < c->n; first = end) {
        for (end = first; end < c->n && (!c->by_date || place(c, end) == place(c, first));)
            end++;
        double row[2] = {place(c, first), median(c, panel, first, end, false)};
        if (isnan(row[1]))
            continue;
        gnuplot_row(g, row, 2);
        row[0] = place(c, end - 1);
        gnuplot_row(g, row, 2);
    }
}

char *held_words(const held_chart *c)
{
    static const struct {
        const char *what;
        int decimals;
        const char *unit;
    } says[HELD_PANELS] = {{"pitch that was held was steady to", 0, "cents"},
                           {"level that was held was steady to", 1, "dB"},
                           {"pitch that was varied moved the level by", 1, "dB an octave"},
                           {"level that was varied moved the pitch by", 0, "cents for 10 dB"}};
    char *words = xstrdup("");
    for (int k = 0; k < HELD_PANELS; k++) {
        double size = median(c, k, 0, c->n, true);
        if (isnan(size))
            continue;
        char *more = xformat("%s%s%s %.*f %s", words, *words ? "; " : "Medians: ", says[k].what,
                             says[k].decimals, size, says[k].unit);
        free(words);
        words = more;
    }
    char *all = *words ? xformat("%s.\nNear 0 is what the exercises ask for. Higher or louder is "
                                 "no better.",
                                 words)
                       : xstrdup("In none of these takes was pitch or level held, or varied "
                                 "against what was held.");
    free(words);
    return all;
}

/* Short enough for a page, where type is twice as large. */
static void send_axis(gnuplot *g, const held_chart *c, int panel, bool page)
{
    static const char *const titles[HELD_PANELS] = {"steadiness of held pitch, cents",
                                                    "steadiness of held level, dB",
                                                    "varied pitch moves level, dB/octave",
                                                    "varied level moves pitch, cents/10 dB"},
                             *const short_titles[HELD_PANELS] = {
                                 "pitch held, cents", "level held, dB", "level moved, dB/octave",
                                 "pitch moved, cents/10 dB"};
    char variable[NAME_SIZE];
    double lo = 0, hi = 0;
    size_t told = 0;
    for (size_t i = 0; i < c->n; i++) {
        told += isnan(c->points[i].value[panel]) ? 0 : 1;
        lo = fmin(lo, c->points[i].value[panel]);
        hi = fmax(hi, c->points[i].value[panel]);
    }
    double more = hi > lo ? 0.08 * (hi - lo) : 1;
    snprintf(variable, sizeof variable, "lo[%d]", panel + 1);
    gnuplot_number(g, variable, lo < 0 ? lo - more : 0);
    snprintf(variable, sizeof variable, "hi[%d]", panel + 1);
    gnuplot_number(g, variable, hi + more);
    snprintf(variable, sizeof variable, "told[%d]", panel + 1);
    gnuplot_number(g, variable, (double)told);
    snprintf(variable, sizeof variable, "titles[%d]", panel + 1);
    gnuplot_text(g, variable, page ? short_titles[panel] : titles[panel], LABEL_LONGEST);
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

static void send_texts(gnuplot *g, const held_chart *c, size_t longest)
{
    char *counts = xformat("what was held, in %zu take%s", c->n, c->n == 1 ? "" : "s"),
         *words = held_words(c);
    gnuplot_text(g, "singer", c->singer, NAME_LONGEST);
    gnuplot_text(g, "counts", counts, LABEL_LONGEST);
    page_words_send(g, words, longest);
    free(counts);
    free(words);
}

bool held_draw(const held_chart *c, const picture *where, err *e)
{
    gnuplot *g = gnuplot_new();
    bool characters = where->kind == PICTURE_SCREEN;
    send_texts(g, c, characters ? (size_t)where->columns - 2 : 104);
    send_x(g, c);
    gnuplot_commands(g, "array lo[4]\narray hi[4]\narray told[4]\narray titles[4]\n");
    for (int k = 0; k < HELD_PANELS; k++)
        send_axis(g, c, k, where->kind == PICTURE_PAGE);
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
    gnuplot_commands(g, characters ? plot_held_text : plot_held);
    bool fine = picture_draw(g, where, e);
    gnuplot_free(g);
    return fine;
}
