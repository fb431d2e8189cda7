/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/take_draw.h"

#include "base/array.h"
#include "base/note.h"
#include "show/note_tics.h"
#include "show/page_words.h"
#include "show/templates.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { MOST_FRAMES = 6000, NAME_LONGEST = 64, LABEL_LONGEST = 200, FLIPS_SAID = 6 };

take_frames take_frames_new(size_t n_frames)
{
    take_frames f = {.stride = n_frames / MOST_FRAMES + 1};
    f.room = n_frames / f.stride + 1;
    f.time_s = xcalloc(f.room, sizeof(double));
    f.pitch_st = xcalloc(f.room, sizeof(double));
    f.level_db = xcalloc(f.room, sizeof(double));
    f.p_m2 = xcalloc(f.room, sizeof(double));
    f.reg = xcalloc(f.room, 1);
    return f;
}

void take_frames_add(take_frames *f, const track *piece, size_t first)
{
    for (size_t k = 0; k < piece->n; k++) {
        if ((first + k) % f->stride || f->n >= f->room)
            continue;
        f->time_s[f->n] = piece->time_s[k];
        f->pitch_st[f->n] = piece->pitch_st[k];
        f->level_db[f->n] = piece->level_db[k];
        f->p_m2[f->n] = piece->p_m2[k];
        f->reg[f->n++] = piece->reg[k];
    }
}

void take_frames_clear(take_frames *f)
{
    free(f->time_s);
    free(f->pitch_st);
    free(f->level_db);
    free(f->p_m2);
    free(f->reg);
    *f = (take_frames){.n = 0};
}

static size_t count(const flips *found, flip_direction d, bool doubtful)
{
    size_t n = 0;
    for (size_t i = 0; i < found->n; i++)
        n += found->items[i].direction == d &&
             (found->items[i].confidence < FLIP_ASSERTED) == doubtful;
    return n;
}

static void add_flip(char **text, const flip *f, double a4_hz)
{
    char from[NOTE_NAME_SIZE], to[NOTE_NAME_SIZE];
    note_nearest(f->pitch_before_st, a4_hz, from);
    note_nearest(f->pitch_after_st, a4_hz, to);
    char *longer = xformat("%s %s at %.2f s from %s to %s%s.", *text,
                           f->direction == FLIP_UP ? "Up" : "Down", f->time_s, *from ? from : "?",
                           *to ? to : "?", f->confidence < FLIP_ASSERTED ? ", doubtful" : "");
    free(*text);
    *text = longer;
}

char *take_words(const flips *found, double a4_hz)
{
    if (!found->n)
        return xstrdup("No flip was heard.");
    char *text = xformat("%zu flip%s.", found->n, found->n == 1 ? "" : "s");
    for (size_t i = 0; i < found->n && i < FLIPS_SAID; i++)
        add_flip(&text, &found->items[i], a4_hz);
    if (found->n <= FLIPS_SAID)
        return text;
    char *whole = xformat("%s The table has the others.", text);
    free(text);
    return whole;
}

typedef struct extent {
    double lo, hi;
} extent;

/* From quantile to quantile of what is voiced, so that a stray frame does not make the axis. */
static extent spread(const take_frames *f, const double *values, double share, extent otherwise)
{
    double *voiced = xmalloc(f->n, sizeof *voiced);
    size_t n = 0;
    for (size_t k = 0; k < f->n; k++)
        if (isfinite(f->pitch_st[k]) && isfinite(values[k]))
            voiced[n++] = values[k];
    extent x = otherwise;
    if (n) {
        gsl_sort(voiced, 1, n);
        x.lo = gsl_stats_quantile_from_sorted_data(voiced, 1, n, share);
        x.hi = gsl_stats_quantile_from_sorted_data(voiced, 1, n, 1 - share);
    }
    free(voiced);
    return x;
}

/* Runs of frames in a register: from, to. */
static void send_runs(gnuplot *g, const char *name, const take_frames *f, int reg)
{
    double hop = f->n > 1 ? (f->time_s[f->n - 1] - f->time_s[0]) / (double)(f->n - 1) : 0;
    gnuplot_data(g, name);
    for (size_t k = 0, from; k < f->n; k++) {
        for (from = k; k < f->n && f->reg[k] == reg; k++)
            continue;
        double row[2] = {f->time_s[from] - hop / 2,
                         f->time_s[from] + hop * ((double)(k - from) - 0.5)};
        if (k > from)
            gnuplot_row(g, row, 2);
    }
    gnuplot_data_end(g);
}

/* reg -1: all frames. */
static void send_curve(gnuplot *g, const char *name, const take_frames *f, const double *values,
                       int reg)
{
    gnuplot_data(g, name);
    gnuplot_row_nowhere(g, 2);
    for (size_t k = 0; k < f->n; k++) {
        double row[2] = {f->time_s[k], reg < 0 || f->reg[k] == reg ? values[k] : (double)NAN};
        gnuplot_row(g, row, 2);
    }
    gnuplot_data_end(g);
}

static void send_flips(gnuplot *g, const flips *found)
{
    gnuplot_data(g, "flips");
    gnuplot_row_nowhere(g, 5);
    for (size_t i = 0; i < found->n; i++) {
        const flip *f = &found->items[i];
        double pitch = isfinite(f->pitch_before_st) ? f->pitch_before_st : f->pitch_after_st;
        double row[5] = {f->time_s, pitch, f->direction == FLIP_DOWN,
                         f->confidence >= FLIP_ASSERTED, f->confidence};
        gnuplot_row(g, row, 5);
    }
    gnuplot_data_end(g);
}

static void send_axes(gnuplot *g, const take_frames *f, double a4_hz)
{
    extent pitch = spread(f, f->pitch_st, 0.002, (extent){52, 64});
    extent level = spread(f, f->level_db, 0.01, (extent){-60, 0});
    gnuplot_number(g, "lo_s", f->n ? f->time_s[0] : 0);
    gnuplot_number(g, "hi_s", f->n > 1 ? f->time_s[f->n - 1] : 1);
    pitch.lo -= 1.5;
    pitch.hi += 1.5;
    gnuplot_number(g, "lo_st", pitch.lo);
    gnuplot_number(g, "hi_st", pitch.hi);
    gnuplot_number(g, "lo_db", level.lo - 8);
    gnuplot_number(g, "hi_db", level.hi + 4);
    note_tics_send(g, "named_tics", pitch.lo, pitch.hi, a4_hz,
                   pitch.hi - pitch.lo > 26 ? NAME_FEW : NAME_ALL);
}

static void send_texts(gnuplot *g, const flips *found, const take_labels *l, bool voiced,
                       size_t longest)
{
    const char *slash = strrchr(l->take, '/');
    gnuplot_text(g, "title", slash ? slash + 1 : l->take, NAME_LONGEST);
    size_t doubtful = count(found, FLIP_UP, true) + count(found, FLIP_DOWN, true);
    char *more = doubtful ? xformat(", and %zu doubtful", doubtful) : xstrdup("");
    char *counts = xformat("flips: %zu up, %zu down%s", count(found, FLIP_UP, false),
                           count(found, FLIP_DOWN, false), more);
    free(more);
    char *pitch = xformat("note (A4 = %g Hz)", l->a4_hz);
    char *words = voiced ? take_words(found, l->a4_hz) : xstrdup("No voice was heard in it.");
    gnuplot_text(g, "counts", counts, LABEL_LONGEST);
    gnuplot_text(g, "pitch_axis", pitch, LABEL_LONGEST);
    gnuplot_text(g, "level_axis", l->level_scale, LABEL_LONGEST);
    page_words_send(g, words, longest);
    free(counts);
    free(pitch);
    free(words);
}

static bool any_voice(const take_frames *f)
{
    for (size_t k = 0; k < f->n; k++)
        if (isfinite(f->pitch_st[k]))
            return true;
    return false;
}

bool take_draw(const take_frames *f, const flips *found, const take_labels *labels,
               const picture *where, err *e)
{
    gnuplot *g = gnuplot_new();
    bool characters = where->kind == PICTURE_SCREEN;
    send_texts(g, found, labels, any_voice(f), characters ? (size_t)where->columns - 2 : 104);
    send_axes(g, f, labels->a4_hz);
    send_runs(g, "heavy", f, 1);
    send_runs(g, "light", f, 2);
    send_curve(g, "pitch0", f, f->pitch_st, 0);
    send_curve(g, "pitch1", f, f->pitch_st, 1);
    send_curve(g, "pitch2", f, f->pitch_st, 2);
    send_curve(g, "level", f, f->level_db, -1);
    send_curve(g, "p_m2", f, f->p_m2, -1);
    send_flips(g, found);
    gnuplot_commands(g, characters ? plot_take_text : plot_take);
    bool ok = picture_draw(g, where, e);
    gnuplot_free(g);
    return ok;
}
