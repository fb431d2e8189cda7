/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/explain_draw.h"

#include "base/array.h"
#include "show/page_words.h"
#include "show/templates.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_LONGEST = 20, NAME_NARROW = 6, ANY_LENGTH = 1 << 20 };

static void send_curve(gnuplot *g, const explanation *why, explain_about about, const char *item,
                       const char *block)
{
    size_t part = 1;
    gnuplot_data(g, block);
    for (size_t i = 0; i < why->n; i++) {
        const explain_row *r = &why->rows[i];
        if (r->about != about || strcmp(r->item, item) != 0)
            continue;
        if (r->part > part) /* a line of its own */
            gnuplot_row(g, NULL, 0);
        part = r->part;
        gnuplot_row(g, (const double[]){r->at, r->value}, 2);
    }
    gnuplot_data_end(g);
}

static bool same_flip(const explain_row *a, const explain_row *b)
{
    return a->about == EXPLAIN_FLIP && b->about == EXPLAIN_FLIP && a->time_s == b->time_s &&
           a->direction == b->direction && strcmp(a->take, b->take) == 0;
}

/* The number of each flip from 1 on, in the order of the rows; of rows that are of no flip 0. */
static size_t number_flips(const explanation *why, size_t *number)
{
    size_t n = 0;
    for (size_t i = 0; i < why->n; i++) {
        const explain_row *r = &why->rows[i];
        n += r->about == EXPLAIN_FLIP && !(i && same_flip(r, r - 1));
        number[i] = r->about == EXPLAIN_FLIP ? n : 0;
    }
    return n;
}

/* The file's name without its folder, or as much of its end as there is room for, the time and the
 * direction. */
static void send_label(gnuplot *g, const explain_row *r, size_t number, size_t longest)
{
    char variable[32];
    const char *name = strrchr(r->take, '/');
    const char *tail = name ? name + 1 : r->take;
    size_t length = strlen(tail);
    bool cut = length > longest;
    tail += cut ? length - longest + 1 : 0;
    while ((*tail & 0xC0) == 0x80) /* not within a character */
        tail++;
    char *text = xformat("%s%s  %.2f s  %s", cut ? "…" : "", tail, r->time_s,
                         r->direction == FLIP_UP ? "up" : "down");
    snprintf(variable, sizeof variable, "labels[%zu]", number);
    gnuplot_text(g, variable, text, ANY_LENGTH);
    free(text);
}

/* A block for each item, rows of nats and the flip's number. */
static void send_flips(gnuplot *g, const explanation *why, const size_t *number, size_t shown)
{
    static const struct {
        const char *item, *block;
    } items[] = {{"leap", "leap"},
                 {"sudden steps", "sudden"},
                 {"step of harmonics", "step"},
                 {"level", "level"},
                 {"chain", "chain"},
                 {"both sides", "sides"},
                 {"place", "place"},
                 {"the voice as a whole", "whole"},
                 {"the other changes", "others"},
                 {"confidence", "confidence"}};
    for (size_t k = 0; k < sizeof items / sizeof *items; k++) {
        gnuplot_data(g, items[k].block);
        gnuplot_row_nowhere(g, 2);
        for (size_t i = 0; i < why->n; i++)
            if (number[i] && number[i] <= shown && strcmp(why->rows[i].item, items[k].item) == 0)
                gnuplot_row(g, (const double[]){why->rows[i].value, (double)number[i]}, 2);
        gnuplot_data_end(g);
    }
}

/* The axis of nats: whole, symmetric, and what goes beyond 6 is drawn there. */
static double reach_of(const explanation *why, const size_t *number, size_t shown)
{
    double most = 2;
    for (size_t i = 0; i < why->n; i++)
        if (number[i] && number[i] <= shown)
            most = fmax(most, fabs(why->rows[i].value));
    return fmin(ceil(most), 6);
}

/* What named M2, in one line; the caller frees. */
static char *naming_of(const explanation *why)
{
    size_t parts = why->n ? why->rows[why->n - 1].part : 1;
    if (parts > 1)
        return xformat("Told in %zu parts, a curve each; the table has what named M2 in each.",
                       parts);
    char *text = xstrdup("");
    for (size_t i = 0; i < why->n; i++) {
        const explain_row *r = &why->rows[i];
        char *more = NULL;
        if (r->about == EXPLAIN_NAMING)
            more = xformat("%s%s%s %+.1f", text,
                           *text ? ", " : "For M2 as it is named, in nats: ", r->item, r->value);
        if (r->about == EXPLAIN_REGISTERS)
            more = xformat("%s. For two registers over one: %+.1f", text, r->value);
        if (!more)
            continue;
        free(text);
        text = more;
    }
    return text;
}

/* How many flips there is room for: as many as the picture shows, or on a screen of characters the
 * rows that titles, axis and words leave. */
static size_t send_words(gnuplot *g, const explanation *why, const char *registers,
                         const picture *where)
{
    char *naming = naming_of(why);
    size_t most = EXPLAIN_FLIPS;
    gnuplot_text(g, "registers", registers, ANY_LENGTH);
    gnuplot_text(g, "naming", naming, ANY_LENGTH);
    if (where->kind == PICTURE_SCREEN) {
        size_t beside = page_words_send(g, naming, (size_t)where->columns - 2) + 10;
        most = (size_t)where->rows > beside ? (size_t)where->rows - beside : 1;
    }
    free(naming);
    return most;
}

static void send_counts(gnuplot *g, size_t all, size_t shown)
{
    char *counts = xformat("%zu flip%s", all, all == 1 ? "" : "s"),
         *more =
             shown < all ? xformat("%s, the first %zu of them", counts, shown) : xstrdup(counts);
    gnuplot_text(g, "counts", more, ANY_LENGTH);
    free(counts);
    free(more);
}

bool explain_draw(const explanation *why, const char *registers, const picture *where, err *e)
{
    gnuplot *g = gnuplot_new();
    bool characters = where->kind == PICTURE_SCREEN;
    size_t *number = xcalloc(why->n, sizeof *number), all = number_flips(why, number);
    size_t most = send_words(g, why, registers, where), shown = all < most ? all : most;
    size_t longest = characters && where->columns < 80 ? NAME_NARROW : NAME_LONGEST;
    gnuplot_number(g, "name_longest", (double)longest);
    gnuplot_number(g, "known", why->n > 0);
    send_counts(g, all, shown);
    gnuplot_number(g, "shown", (double)shown);
    gnuplot_number(g, "reach", reach_of(why, number, shown));
    gnuplot_commands(g, "array labels[shown + 1]\n");
    for (size_t i = 0; i < why->n; i++)
        if (number[i] && number[i] <= shown && strcmp(why->rows[i].item, "leap") == 0)
            send_label(g, &why->rows[i], number[i], longest);
    send_curve(g, why, EXPLAIN_TRACT, "tract", "tract");
    send_curve(g, why, EXPLAIN_SOURCE, "M1", "heavy");
    send_curve(g, why, EXPLAIN_SOURCE, "M2", "light");
    send_curve(g, why, EXPLAIN_SOURCE, "M2 less M1", "difference");
    send_flips(g, why, number, shown);
    gnuplot_commands(g, characters ? plot_explain_text : plot_explain);
    bool ok = picture_draw(g, where, e);
    free(number);
    gnuplot_free(g);
    return ok;
}
