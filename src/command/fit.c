/* SPDX-License-Identifier: GPL-3.0-or-later */
/* fit: the boundary from tables of labelled frames, wherever they come from; no journal. */
#include "base/array.h"
#include "command/boundary_table.h"
#include "command/command.h"
#include "fit/boundary.h"
#include "show/far_level.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct settings {
    double at_db;
} settings;

static void defaults(void *p)
{
    *(settings *)p = (settings){.at_db = (double)NAN};
}

static const option options[] = {
    {"at", 0, OPTION_NUMBER, "DB", NULL, -200, 200, offsetof(settings, at_db),
     "level at which pitches are stated (the median level of the voiced frames)"},
};

/* All takes of all tables. Frames of a take are rows of one table that follow each other. */
typedef struct takes {
    size_t n, room;
    path *items; /* each owns its arrays and its name */
    char *scale; /* what levels are re, as the tables' level_scale says; NULL: no table yet */
} takes;

static const char unstated[] = "as in the tables, which do not state it";

static void path_clear(path *p)
{
    free((void *)p->take);
    free((void *)p->time_s);
    free((void *)p->pitch_st);
    free((void *)p->level_db);
    free((void *)p->reg);
    free((void *)p->p_m2);
}

static void takes_clear(takes *t)
{
    for (size_t i = 0; i < t->n; i++)
        path_clear(&t->items[i]);
    free(t->items);
    free(t->scale);
}

typedef struct columns {
    int take, time_s, pitch_st, level_db, reg, p_m2;
} columns;

static bool find_columns(const table *t, columns *c, err *e)
{
    static const char *const names[] = {"take", "time_s", "pitch_st", "level_db", "register"};
    int *at[] = {&c->take, &c->time_s, &c->pitch_st, &c->level_db, &c->reg};
    for (size_t i = 0; i < sizeof names / sizeof *names; i++) {
        *at[i] = table_column(t, names[i]);
        if (*at[i] < 0)
            return err_set(e,
                           "%s has no column %s; a table of frames needs take, time_s, "
                           "pitch_st, level_db and register.",
                           t->path, names[i]);
    }
    c->p_m2 = table_column(t, "p_m2");
    return true;
}

static bool read_register(const table *t, size_t row, int column, unsigned char *reg, err *e)
{
    const char *cell = table_cell(t, row, column);
    if (!*cell || strcmp(cell, "0") == 0)
        *reg = 0;
    else if (strcmp(cell, "1") == 0 || strcmp(cell, "2") == 0)
        *reg = (unsigned char)(*cell - '0');
    else
        return err_set(e, "%s line %zu: register is %s, but must be 1, 2 or empty.", t->path,
                       t->line[row], cell);
    return true;
}

/* Columns in other units: Hz, or powers as they are. */
static bool check_units(const table *t, size_t row, double pitch_st, double level_db, err *e)
{
    if (pitch_st < 0 || pitch_st > 127)
        return err_set(e,
                       "%s line %zu: pitch_st is %g, but semitones (A4 = 69) are 0 to 127. Is it "
                       "in Hz?",
                       t->path, t->line[row], pitch_st);
    if (fabs(level_db) > 300)
        return err_set(e, "%s line %zu: level_db is %g, but levels are -300 to 300 dB.", t->path,
                       t->line[row], level_db);
    return true;
}

/* Row i of a path; what may be out of bounds is said with its line. */
static bool read_frame(const table *t, size_t row, const columns *c, double *frame[4],
                       unsigned char *reg, size_t i, err *e)
{
    const int at[4] = {c->time_s, c->pitch_st, c->level_db, c->p_m2};
    for (int k = 0; k < 4; k++)
        if (frame[k] && !table_value(t, row, at[k], &frame[k][i], e))
            return false;
    if (!isfinite(frame[0][i]))
        return err_set(e, "%s line %zu: time_s is empty.", t->path, t->line[row]);
    if (i > 0 && frame[0][i] <= frame[0][i - 1])
        return err_set(e, "%s line %zu: time_s is %g after %g in take %s, but must increase.",
                       t->path, t->line[row], frame[0][i], frame[0][i - 1],
                       table_cell(t, row, c->take));
    if (frame[3] && !isnan(frame[3][i]) && !(frame[3][i] >= 0 && frame[3][i] <= 1))
        return err_set(e, "%s line %zu: p_m2 is %g, but a probability is 0 to 1.", t->path,
                       t->line[row], frame[3][i]);
    return check_units(t, row, frame[1][i], frame[2][i], e) &&
           read_register(t, row, c->reg, &reg[i], e);
}

/* Farther apart frames show no flip; most often they are in milliseconds. */
static const double FARTHEST_S = 0.25;

static bool check_step(const table *t, const path *p, err *e)
{
    double least = INFINITY;
    for (size_t i = 1; i < p->n; i++)
        least = fmin(least, p->time_s[i] - p->time_s[i - 1]);
    return p->n < 2 || least <= FARTHEST_S ||
           err_set(e,
                   "%s: the frames of take %s are %g s apart or more, but a flip is seen by frames "
                   "at most %g s apart. Is time_s in seconds?",
                   t->path, p->take, least, FARTHEST_S);
}

static bool read_path(const table *t, size_t from, size_t to, const columns *c, path *out, err *e)
{
    size_t n = to - from;
    double *frame[4] = {NULL};
    unsigned char *reg = xmalloc(n, 1);
    for (int k = 0; k < (c->p_m2 >= 0 ? 4 : 3); k++)
        frame[k] = xmalloc(n, sizeof **frame);
    *out = (path){
        xstrdup(table_cell(t, from, c->take)), n, frame[0], frame[1], frame[2], reg, frame[3]};
    for (size_t i = 0; i < n; i++)
        if (!read_frame(t, from + i, c, frame, reg, i, e))
            return false;
    return check_step(t, out, e);
}

/* Rows of a take that are parted by others would silently make two takes of it. */
static bool take_is_new(const table *t, size_t row, const char *take, const path *before, size_t n,
                        err *e)
{
    for (size_t i = 0; i < n; i++)
        if (strcmp(before[i].take, take) == 0)
            return err_set(e,
                           "%s line %zu: take %s comes back after another take; keep the rows of "
                           "a take together.",
                           t->path, t->line[row], take);
    return true;
}

static bool add_table(const table *t, takes *out, err *e)
{
    columns c;
    size_t before = out->n;
    if (!find_columns(t, &c, e))
        return false;
    for (size_t from = 0, to; from < t->n_rows; from = to) {
        const char *take = table_cell(t, from, c.take);
        for (to = from + 1; to < t->n_rows; to++)
            if (strcmp(table_cell(t, to, c.take), take) != 0)
                break;
        if (!take_is_new(t, from, take, out->items + before, out->n - before, e))
            return false;
        array_reserve((void **)&out->items, &out->room, out->n + 1, sizeof *out->items);
        if (!read_path(t, from, to, &c, &out->items[out->n++], e))
            return false;
    }
    return true;
}

/* Levels on two scales make no boundary: said, since the caller may know better. */
static void note_scale(const table *t, takes *out)
{
    const char *scale = table_note_value(t, "level_scale");
    scale = scale ? scale : unstated;
    if (out->scale && strcmp(out->scale, scale) != 0)
        message_warn("%s: its level scale is \"%s\", but that of the tables before \"%s\".",
                     t->path, scale, out->scale);
    if (!out->scale)
        out->scale = xstrdup(scale);
}

/* A table that can't be read has its sentence on stderr and counts in *failed. */
static takes read_all(const command_call *call, size_t *failed)
{
    takes out = {0};
    for (size_t i = 0; i < call->n; i++) {
        err e;
        table *t = NULL;
        size_t before = out.n;
        if (!table_read(call->operands[i], &t, &e) || !add_table(t, &out, &e)) {
            message_warn("%s", e.text);
            ++*failed;
            while (out.n > before)
                path_clear(&out.items[--out.n]);
        } else {
            note_scale(t, &out);
        }
        table_free(t);
    }
    return out;
}

static bool same_frames(const path *a, const path *b)
{
    return a->n > 1 && a->n == b->n && memcmp(a->reg, b->reg, a->n) == 0 &&
           memcmp(a->pitch_st, b->pitch_st, a->n * sizeof *a->pitch_st) == 0 &&
           memcmp(a->level_db, b->level_db, a->n * sizeof *a->level_db) == 0;
}

/* A table given twice, or one that holds another's takes, would narrow the intervals. */
static void warn_of_twins(const takes *t)
{
    for (size_t i = 0; i < t->n; i++)
        for (size_t k = 0; k < i; k++)
            if (same_frames(&t->items[i], &t->items[k])) {
                message_warn("Take %s has the same frames as take %s before it: both count, and "
                             "intervals come out too narrow. Leave one out.",
                             t->items[i].take, t->items[k].take);
                break;
            }
}

static bool anything_told(const boundary *b)
{
    for (int row = 0; row < BOUNDARY_ROWS; row++)
        if (!boundary_reason(b, (boundary_row)row))
            return true;
    return false;
}

static bool print_boundary(const command_call *call, const char *scale, const boundary *b, err *e)
{
    table_writer *w = command_table(call, BOUNDARY_COLUMNS);
    table_note(w, "level_scale", "%s", scale);
    boundary_table_notes(b, w);
    boundary_table_rows(b, w);
    return table_writer_close(w, e);
}

static int run(const command_call *call, err *e)
{
    const settings *own = call->settings;
    size_t failed = 0;
    takes t = read_all(call, &failed);
    boundary_settings s = boundary_defaults();
    s.at_db = own->at_db;
    boundary *b = NULL;
    int code = failed ? EXIT_INPUT : EXIT_DONE;
    warn_of_twins(&t);
    if (failed == call->n)
        code = EXIT_INPUT;
    else if (t.n == 0 && !failed) {
        err_set(e, "%s has no rows below its header: nothing to fit.", call->operands[0]);
        code = EXIT_NO_ANSWER;
    } else if (!boundary_fit(t.items, t.n, &s, &b, e))
        code = failed ? EXIT_INPUT : EXIT_NO_ANSWER;
    else if (!isnan(own->at_db) && !far_level_check(b, "the voice", e))
        code = EXIT_NO_ANSWER;
    else if (!print_boundary(call, t.scale, b, e))
        code = EXIT_INPUT;
    else if (!anything_told(b) && !failed) {
        err_set(e, "Nothing could be told from %zu take%s: %s.", t.n, t.n == 1 ? "" : "s",
                boundary_reason(b, BOUNDARY_UP_PITCH));
        code = EXIT_NO_ANSWER;
    }
    boundary_free(b);
    takes_clear(&t);
    return code;
}

const command command_fit = {
    .name = "fit",
    .summary = "the flip boundary from tables of labelled frames",
    .usage = "TRACKS...",
    .detail = "Each table has the columns take, time_s, pitch_st, level_db and register (1, 2 or "
              "empty), and\nmay have p_m2; others are passed over. All takes are one singer's. "
              "analyse --tracks prints such\na table; - is standard input.",
    .examples = "seamline fit tracks.tsv\n"
                "seamline analyse --tracks takes/*.wav | seamline fit - --at -30",
    .least = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .defaults = defaults,
    .run = run,
};
