/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/held_sessions.h"

#include "base/array.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

const char held_sessions_columns[] = "date exercise takes all_held pitch_steady_cents "
                                     "level_steady_db register_share flips leak leak_unit";

/* Rows of a day: the exercises, then what was declared otherwise, then what was not. */
enum { OTHER = EXERCISES, UNKNOWN, KINDS };

static int kind_of(const journal_take *t)
{
    const exercise *x = exercise_find(t->hold, t->vary);
    return x ? (int)(x - exercises) : t->hold < 0 && t->vary < 0 ? UNKNOWN : OTHER;
}

static const char *kind_name(int kind)
{
    return kind == UNKNOWN ? "unknown" : kind == OTHER ? "other" : exercises[kind].name;
}

typedef enum value { PITCH, LEVEL, SHARE, FLIPS, LEAK } value;

static double value_of(const held_score *h, value v)
{
    switch (v) {
    case PITCH:
        return h->pitch_steady_cents;
    case LEVEL:
        return h->level_steady_db;
    case SHARE:
        return h->register_share;
    case FLIPS:
        return h->untold & LESSON_REGISTER ? (double)NAN : (double)h->flips;
    case LEAK:
        return h->leak;
    }
    return (double)NAN;
}

/* The takes of a day that are of one kind. */
typedef struct group {
    size_t n;
    const held_score **scores;
    double *values; /* [n], for sorting */
} group;

static double median(const group *g, value v)
{
    size_t n = 0;
    for (size_t i = 0; i < g->n; i++) {
        double x = value_of(g->scores[i], v);
        if (!isnan(x))
            g->values[n++] = x;
    }
    gsl_sort(g->values, 1, n);
    return n ? gsl_stats_median_from_sorted_data(g->values, 1, n) : (double)NAN;
}

/* Leaks of takes without declaration may differ in unit: then there is none to tell. */
static leak_unit unit_of(const group *g)
{
    leak_unit unit = LEAK_NONE;
    for (size_t i = 0; i < g->n; i++) {
        leak_unit own = g->scores[i]->unit;
        if (unit != LEAK_NONE && own != LEAK_NONE && own != unit)
            return LEAK_NONE;
        unit = own != LEAK_NONE ? own : unit;
    }
    return unit;
}

static void write_row(table_writer *w, const char *date, int kind, const group *g, size_t held)
{
    leak_unit unit = unit_of(g);
    table_text(w, date);
    table_text(w, kind_name(kind));
    table_count(w, (long)g->n);
    if (kind == UNKNOWN)
        table_text(w, NULL);
    else
        table_count(w, (long)held);
    table_number(w, median(g, PITCH), 1);
    table_number(w, median(g, LEVEL), 2);
    table_number(w, median(g, SHARE), 3);
    table_number(w, median(g, FLIPS), 1);
    table_number(w, unit == LEAK_NONE ? (double)NAN : median(g, LEAK), 2);
    table_text(w, leak_unit_name(unit));
}

static void write_day(table_writer *w, const journal_item *items, const held_score *scores,
                      size_t n, group *g)
{
    for (int kind = 0; kind < KINDS; kind++) {
        size_t held = 0;
        g->n = 0;
        for (size_t i = 0; i < n; i++)
            if (kind_of(&items[i].take) == kind) {
                g->scores[g->n++] = &scores[i];
                held += scores[i].held == items[i].take.hold;
            }
        if (g->n)
            write_row(w, items[0].take.date, kind, g, held);
    }
}

void held_sessions_write(table_writer *w, const journal_item *items, const held_score *scores,
                         size_t n)
{
    group g = {0, xmalloc(n, sizeof *g.scores), xmalloc(n, sizeof *g.values)};
    for (size_t first = 0, end; first < n; first = end) {
        for (end = first; end < n && strcmp(items[end].take.date, items[first].take.date) == 0;)
            end++;
        write_day(w, items + first, scores + first, end - first, &g);
    }
    free(g.scores);
    free(g.values);
}
