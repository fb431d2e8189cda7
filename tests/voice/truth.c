/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/truth.h"

#include "base/array.h"
#include "base/table.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static bool table_of(const char *folder, const char *name, table **out, err *e)
{
    char *path = xformat("%s/%s", folder, name);
    bool ok = table_read(path, out, e);
    free(path);
    return ok;
}

static double number(const table *t, size_t row, const char *column)
{
    double value = (double)NAN;
    err ignored;
    table_value(t, row, table_column(t, column), &value, &ignored);
    return value;
}

static truth_take *take_named(truth *t, const char *name)
{
    for (size_t i = 0; i < t->n; i++)
        if (strcmp(t->takes[i].name, name) == 0)
            return &t->takes[i];
    return NULL;
}

static void takes_fill(truth *out, const table *t)
{
    out->n = t->n_rows;
    out->takes = xcalloc(out->n, sizeof *out->takes);
    for (size_t i = 0; i < out->n; i++) {
        out->takes[i].name = xstrdup(table_cell(t, i, table_column(t, "take")));
        out->takes[i].kind = xstrdup(table_cell(t, i, table_column(t, "kind")));
    }
}

static void frames_fill(truth *out, const table *t)
{
    int take = table_column(t, "take");
    for (size_t row = 0; row < t->n_rows; row++)
        take_named(out, table_cell(t, row, take))->n++;
    for (size_t i = 0; i < out->n; i++) {
        truth_take *k = &out->takes[i];
        k->pitch_st = xmalloc(k->n, sizeof *k->pitch_st);
        k->level_db = xmalloc(k->n, sizeof *k->level_db);
        k->reg = xmalloc(k->n, 1);
        k->n = 0;
    }
    for (size_t row = 0; row < t->n_rows; row++) {
        truth_take *k = take_named(out, table_cell(t, row, take));
        k->pitch_st[k->n] = number(t, row, "pitch_st");
        k->level_db[k->n] = number(t, row, "level_db");
        k->reg[k->n++] = (unsigned char)number(t, row, "register");
    }
}

static void contact_fill(truth *out, const table *t)
{
    int take = table_column(t, "take");
    if (table_column(t, "contact_quotient") < 0)
        return;
    for (size_t i = 0; i < out->n; i++) {
        truth_take *k = &out->takes[i];
        k->contact = xmalloc(k->n, sizeof *k->contact);
        k->egg_lost = xmalloc(k->n, 1);
        size_t f = 0;
        for (size_t row = 0; row < t->n_rows; row++) {
            if (strcmp(table_cell(t, row, take), k->name) != 0)
                continue;
            k->contact[f] = number(t, row, "contact_quotient");
            k->egg_lost[f++] = number(t, row, "egg_lost") > 0;
        }
    }
}

static void flips_fill(truth *out, const table *t)
{
    for (size_t row = 0; row < t->n_rows; row++) {
        truth_take *k = take_named(out, table_cell(t, row, table_column(t, "take")));
        const char *direction = table_cell(t, row, table_column(t, "direction"));
        truth_flip f = {.direction = strcmp(direction, "up") == 0 ? FLIP_UP : FLIP_DOWN};
        f.time_s = number(t, row, "time_s");
        f.span_ms = number(t, row, "span_ms");
        f.leap_st = number(t, row, "leap_st");
        f.pitch_before_st = number(t, row, "pitch_before_st");
        f.level_db = number(t, row, "level_db");
        k->flips = xrealloc(k->flips, k->n_flips + 1, sizeof *k->flips);
        k->flips[k->n_flips++] = f;
    }
}

static void boundary_fill(truth *out, const table *t)
{
    for (size_t row = 0; row < t->n_rows; row++) {
        const char *name = table_cell(t, row, table_column(t, "parameter"));
        double value = number(t, row, "value");
        if (strcmp(name, "up_st") == 0)
            out->up_st = value;
        if (strcmp(name, "down_st") == 0)
            out->down_st = value;
        if (strcmp(name, "slope") == 0)
            out->slope = value;
        if (strcmp(name, "level_db") == 0)
            out->level_db = value;
        if (strcmp(name, "egg_channel") == 0)
            out->egg_channel = (int)value;
    }
}

bool truth_read(const char *folder, truth *out, err *e)
{
    table *takes = NULL, *frames = NULL, *changes = NULL, *boundary = NULL;
    *out = (truth){0};
    bool ok = table_of(folder, "takes.tsv", &takes, e) &&
              table_of(folder, "frames.tsv", &frames, e) &&
              table_of(folder, "flips.tsv", &changes, e) &&
              table_of(folder, "boundary.tsv", &boundary, e);
    if (ok) {
        takes_fill(out, takes);
        frames_fill(out, frames);
        contact_fill(out, frames);
        flips_fill(out, changes);
        boundary_fill(out, boundary);
    }
    table_free(takes);
    table_free(frames);
    table_free(changes);
    table_free(boundary);
    return ok;
}

void truth_clear(truth *t)
{
    for (size_t i = 0; i < t->n; i++) {
        free(t->takes[i].name);
        free(t->takes[i].kind);
        free(t->takes[i].pitch_st);
        free(t->takes[i].level_db);
        free(t->takes[i].reg);
        free(t->takes[i].contact);
        free(t->takes[i].egg_lost);
        free(t->takes[i].flips);
    }
    free(t->takes);
    *t = (truth){0};
}

double truth_boundary_st(const truth *t, flip_direction d, double level_db)
{
    return (d == FLIP_UP ? t->up_st : t->down_st) + t->slope * (level_db - t->level_db);
}

static double mean_pitch(const truth_take *t, double from_s, double to_s)
{
    double sum = 0;
    long lo = lround(from_s / TRUTH_HOP_S), hi = lround(to_s / TRUTH_HOP_S);
    if (lo < 0 || (size_t)hi >= t->n)
        return (double)NAN;
    for (long i = lo; i <= hi; i++)
        sum += t->pitch_st[i];
    return sum / (double)(hi - lo + 1);
}

double truth_heard_leap(const truth_take *t, const truth_flip *f)
{
    double half = f->span_ms / 2000;
    return mean_pitch(t, f->time_s + half, f->time_s + half + 0.05) -
           mean_pitch(t, f->time_s - half - 0.05, f->time_s - half);
}
