/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/intake_split.h"

#include "base/array.h"
#include "base/number.h"
#include "base/table.h"
#include "base/ticker.h"
#include "sound/source.h"
#include "voice/split.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* A lesson with its takes, and the table. */
typedef struct lesson {
    const intake *of;
    const table *said; /* or NULL */
    bool alone;        /* it is the only one: rows need not name it */
    statement all;     /* of every take */
    size_t n;
    split_take *takes;
    long *row;      /* [n] that says something of the take; -1: none does */
    double *shared; /* [n] seconds of the take in it */
} lesson;

static const char *own_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

static bool names(const lesson *l, const char *file)
{
    if (!*file)
        return l->alone;
    return strcmp(file, l->of->file) == 0 ||
           (!strchr(file, '/') && strcmp(file, own_name(l->of->file)) == 0);
}

static const char *cell_of(const lesson *l, size_t row, const char *column)
{
    return table_cell(l->said, row, table_column(l->said, column));
}

static bool read_stretch(const table *t, size_t row, double *start_s, double *end_s, err *e)
{
    if (!table_value(t, row, table_column(t, "start_s"), start_s, e) ||
        !table_value(t, row, table_column(t, "end_s"), end_s, e))
        return false;
    return *start_s < *end_s ||
           err_set(e, "%s line %zu: a row wants start_s and, after it, end_s, in seconds.", t->path,
                   t->line[row]);
}

static double overlap_s(const split_take *k, double start_s, double end_s)
{
    return fmin(k->end_s, end_s) - fmax(k->start_s, start_s);
}

static void warn_of_row(const lesson *l, size_t row, const char *what)
{
    message_warn("%s line %zu: %s", l->said->path, l->said->line[row], what);
}

static size_t most_overlapped(const lesson *l, double start_s, double end_s)
{
    size_t best = 0;
    for (size_t i = 1; i < l->n; i++)
        if (overlap_s(&l->takes[i], start_s, end_s) > overlap_s(&l->takes[best], start_s, end_s))
            best = i;
    return best;
}

static void place_row(lesson *l, size_t row, double start_s, double end_s)
{
    size_t k = most_overlapped(l, start_s, end_s);
    double shared = l->n ? overlap_s(&l->takes[k], start_s, end_s) : 0;
    if (!(shared > 0)) {
        warn_of_row(l, row, "no take was found there.");
        return;
    }
    long other = l->row[k], loser = shared > l->shared[k] ? other : (long)row;
    if (loser != (long)row) {
        l->row[k] = (long)row;
        l->shared[k] = shared;
    }
    if (loser >= 0)
        warn_of_row(l, (size_t)loser, "another row has more of the same take, and counts instead.");
}

static bool place_rows(lesson *l, err *e)
{
    for (size_t row = 0; l->said && row < l->said->n_rows; row++) {
        double start_s, end_s;
        if (!names(l, cell_of(l, row, "file")))
            continue;
        if (!read_stretch(l->said, row, &start_s, &end_s, e))
            return false;
        place_row(l, row, start_s, end_s);
    }
    return true;
}

/* FILE@START-END, counted from the beginning of the file where the lesson is itself a stretch. */
static char *stretch_name(const char *file, const split_take *k)
{
    char *path, start[NUMBER_SIZE], end[NUMBER_SIZE];
    double from_s, to_s;
    source_parts(file, &path, &from_s, &to_s);
    number_fixed(from_s + k->start_s, 2, start);
    number_fixed(fmin(from_s + k->end_s, to_s), 2, end);
    char *name = xformat("%s@%s-%s", path, start, end);
    free(path);
    return name;
}

static bool hand_out(const lesson *l, intake_list *out, err *e)
{
    for (size_t i = 0; i < l->n; i++) {
        statement said = l->all;
        const char *singer = "";
        if (l->row[i] >= 0) {
            size_t row = (size_t)l->row[i];
            if (intake_row_dropped(l->said, row))
                continue;
            if (!intake_row_read(l->said, row, &said, e))
                return false;
            singer = cell_of(l, row, "singer");
        }
        char *name = stretch_name(l->of->file, &l->takes[i]);
        intake_append(out, *singer ? singer : l->of->singer, name, &said);
        free(name);
    }
    return true;
}

/* All takes are heard on the channels that the whole lesson is. */
static bool settle_channels(lesson *l, recording_settings *s, err *e)
{
    recording *r;
    s->channel = l->all.how.microphone;
    s->egg = l->all.how.egg;
    if (!source_settle(l->of->file, e) || !recording_open(l->of->file, s, &r, e))
        return false;
    if (recording_channels(r) > 1) {
        s->channel = l->all.how.microphone = recording_channel(r);
        s->egg = l->all.how.egg = recording_egg(r);
    }
    recording_close(r);
    return true;
}

/* False where the lesson cannot be read. */
static bool find_takes(lesson *l)
{
    recording_settings s = recording_defaults();
    err e;
    bool fine =
        settle_channels(l, &s, &e) && split_recording(l->of->file, &s, &l->takes, &l->n, &e);
    if (!fine)
        message_warn("%s", e.text);
    else if (!l->n)
        message_warn("%s: no take was found in it.", l->of->file);
    return fine;
}

static bool split_lesson(lesson *l, intake_list *out, size_t *failed, err *e)
{
    if (!find_takes(l)) {
        ++*failed;
        return true;
    }
    l->row = xmalloc(l->n, sizeof *l->row);
    l->shared = xcalloc(l->n, sizeof *l->shared);
    for (size_t i = 0; i < l->n; i++)
        l->row[i] = -1;
    bool fine = place_rows(l, e) && hand_out(l, out, e);
    free(l->row);
    free(l->shared);
    free(l->takes);
    return fine;
}

static void warn_of_others(const intake_list *l, const table *said)
{
    for (size_t row = 0; said && row < said->n_rows; row++) {
        bool named = false;
        lesson k = {.said = said, .alone = l->n == 1};
        for (size_t i = 0; i < l->n && !named; i++) {
            k.of = &l->items[i];
            named = names(&k, cell_of(&k, row, "file"));
        }
        if (!named)
            warn_of_row(&k, row, "the row names none of the lessons.");
    }
}

static bool split_all(const intake_list *l, intake_list *out, bool quiet, size_t *failed, err *e)
{
    bool fine = true;
    ticker *t = ticker_new("lessons", l->n, quiet);
    for (size_t i = 0; fine && i < l->n; i++) {
        lesson k = {
            .of = &l->items[i], .said = out->table, .alone = l->n == 1, .all = l->items[i].said};
        ticker_show(t, i);
        fine = split_lesson(&k, out, failed, e);
        ticker_hide(t);
    }
    ticker_free(t);
    return fine;
}

bool intake_split(intake_list *l, const char *table_or_null, bool quiet, size_t *failed, err *e)
{
    intake_list out = {.n = 0};
    *failed = 0;
    if (table_or_null && !table_read(table_or_null, &out.table, e))
        return false;
    warn_of_others(l, out.table);
    bool fine = split_all(l, &out, quiet, failed, e);
    intake_clear(fine ? l : &out);
    if (fine)
        *l = out;
    return fine;
}
