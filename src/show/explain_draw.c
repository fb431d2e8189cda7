/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/explain_draw.h"

#include "base/array.h"
#include "show/templates.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { NAME_LONGEST = 20, ANY_LENGTH = 1 << 20 };

static void send_curve(gnuplot *g, const explanation *why, explain_about about, const char *item,
                       const char *block)
{
    gnuplot_data(g, block);
    for (size_t i = 0; i < why->n; i++) {
        const explain_row *r = &why->rows[i];
        if (r->about == about && strcmp(r->item, item) == 0)
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
static void send_label(gnuplot *g, const explain_row *r, size_t number)
{
    char variable[32];
    const char *name = strrchr(r->take, '/');
    const char *tail = name ? name + 1 : r->take;
    size_t length = strlen(tail);
    bool cut = length > NAME_LONGEST;
    tail += cut ? length - NAME_LONGEST + 1 : 0;
    while ((*tail & 0xC0) == 0x80) /* not within a character */
        tail++;
    char *text = xformat("%s%s  %.2f s  %s", cut ? "…" : "", tail, r->time_s,
                         r->direction == FLIP_UP ? "up" : "down");
    snprintf(variable, sizeof variable, "labels[%zu]", number);
    gnuplot_text(g, variable, text, ANY_LENGTH);
    free(text);
}

/* A block for each item, rows of nats and the flip's number. */
static void send_flips(gnuplot *g, const explanation *why, const size_t *number)
{
    static const struct {
        const char *item, *block;
    } items[] = {{"leap", "leap"},
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
        for (size_t i = 0; i < why->n; i++)
            if (number[i] && number[i] <= EXPLAIN_FLIPS &&
                strcmp(why->rows[i].item, items[k].item) == 0)
                gnuplot_row(g, (const double[]){why->rows[i].value, (double)number[i]}, 2);
        gnuplot_data_end(g);
    }
}

/* The axis of nats: whole, symmetric, and what goes beyond 6 is drawn there. */
static double reach_of(const explanation *why, const size_t *number)
{
    double most = 2;
    for (size_t i = 0; i < why->n; i++)
        if (number[i] && number[i] <= EXPLAIN_FLIPS)
            most = fmax(most, fabs(why->rows[i].value));
    return fmin(ceil(most), 6);
}

static void send_naming(gnuplot *g, const explanation *why)
{
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
    gnuplot_text(g, "naming", text, ANY_LENGTH);
    free(text);
}

bool explain_draw(const explanation *why, const char *registers, const picture *where, err *e)
{
    gnuplot *g = gnuplot_new();
    size_t *number = xcalloc(why->n, sizeof *number), all = number_flips(why, number);
    size_t shown = all < EXPLAIN_FLIPS ? all : EXPLAIN_FLIPS;
    gnuplot_text(g, "registers", registers, ANY_LENGTH);
    send_naming(g, why);
    gnuplot_number(g, "known", why->n > 0);
    gnuplot_number(g, "flips", (double)all);
    gnuplot_number(g, "shown", (double)shown);
    gnuplot_number(g, "reach", reach_of(why, number));
    gnuplot_commands(g, "array labels[shown + 1]\n");
    for (size_t i = 0; i < why->n; i++)
        if (number[i] && number[i] <= shown && strcmp(why->rows[i].item, "leap") == 0)
            send_label(g, &why->rows[i], number[i]);
    send_curve(g, why, EXPLAIN_TRACT, "tract", "tract");
    send_curve(g, why, EXPLAIN_SOURCE, "M1", "heavy");
    send_curve(g, why, EXPLAIN_SOURCE, "M2", "light");
    send_curve(g, why, EXPLAIN_SOURCE, "M2 less M1", "difference");
    send_flips(g, why, number);
    gnuplot_commands(g, plot_explain);
    bool ok = picture_draw(g, where, e);
    free(number);
    gnuplot_free(g);
    return ok;
}
