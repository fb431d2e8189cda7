/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/studio.h"

#include "base/array.h"
#include "base/table.h"
#include "voice/dice.h"
#include "voice/files.h"
#include "voice/sing.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

typedef struct reader { /* one row of the scenario */
    const table *t;
    size_t row;
    err *e;
    bool ok; /* no cell has failed so far */
} reader;

static const char *text(const reader *r, const char *name)
{
    return table_cell(r->t, r->row, table_column(r->t, name));
}

static double number(reader *r, const char *name, double otherwise)
{
    double value;
    if (!r->ok)
        return otherwise;
    r->ok = table_value(r->t, r->row, table_column(r->t, name), &value, r->e);
    return !r->ok || isnan(value) ? otherwise : value;
}

static bool fault(reader *r, const char *what)
{
    if (r->ok)
        err_set(r->e, "Line %zu of %s: %s.", r->t->line[r->row], r->t->path, what);
    return r->ok = false;
}

static singer singer_read(reader *r)
{
    const char *name = text(r, "family"), *sex = text(r, "sex"), *vowel = text(r, "vowel");
    family f = *name ? family_by_name(name) : FAMILY_CLEAR;
    if (f == FAMILIES)
        fault(r, "there is no such family");
    f = f == FAMILIES ? FAMILY_CLEAR : f;
    if (!*text(r, "singer"))
        fault(r, "the singer has no name");
    uint64_t seed = (uint64_t)number(r, "seed", -1);
    if (number(r, "seed", -1) < 0)
        seed = dice_seed(text(r, "singer"));
    bool woman = *sex ? strcmp(sex, "woman") == 0 : singer_draws_woman(f, seed);
    if (*sex && !woman && strcmp(sex, "man") != 0)
        fault(r, "the sex must be man or woman");
    char v = *vowel ? *vowel : family_get(f)->vowel;
    if (!strchr("aeiou", v) || strlen(vowel) > 1) {
        fault(r, "the vowel must be one of a e i o u");
        v = 'a';
    }
    singer s = singer_draw_as(f, seed, woman, v);
    s.boundary.pitch_st = number(r, "boundary_st", s.boundary.pitch_st);
    s.boundary.slope = number(r, "boundary_slope", s.boundary.slope);
    s.boundary.level_db = number(r, "boundary_db", -32);
    s.boundary.spread = number(r, "spread", s.boundary.spread);
    s.boundary.hysteresis = number(r, "hysteresis", s.boundary.hysteresis);
    s.leap_st = number(r, "leap_st", s.leap_st);
    s.snr_db = number(r, "snr_db", s.snr_db);
    s.rate_hz = (int)number(r, "rate_hz", s.rate_hz);
    if (s.rate_hz < 16000 || s.rate_hz > 96000)
        fault(r, "rate_hz must lie between 16000 and 96000");
    tract_extend(&s.tract, s.rate_hz);
    double span = number(r, "span_ms", (double)NAN);
    if (!isnan(span))
        s.span_ms[0] = s.span_ms[1] = span;
    return s;
}

static score score_read(reader *r)
{
    score sc = {.kind = score_kind_by_name(text(r, "kind"))};
    if (sc.kind > SCORE_MELODY)
        fault(r, "the kind must be slide, updown, swell, hold, atwill or melody");
    sc.from_st = number(r, "from_st", (double)NAN);
    sc.to_st = number(r, "to_st", sc.from_st);
    sc.level_db = number(r, "level_db", -32);
    sc.to_db = number(r, "to_db", sc.level_db);
    sc.seconds = number(r, "seconds", 6);
    sc.held = (int)number(r, "held", 0);
    if (!(sc.from_st > 30 && sc.from_st < 100 && sc.to_st > 30 && sc.to_st < 100))
        fault(r, "from_st and to_st must lie between 30 and 100");
    if (!(sc.seconds >= 2 && sc.seconds <= 600))
        fault(r, "seconds must lie between 2 and 600");
    if (!(sc.level_db > -80 && sc.level_db < -10 && sc.to_db > -80 && sc.to_db < -10))
        fault(r, "level_db and to_db must lie between -80 and -10");
    return sc;
}

/* Rows above this one with the same singer (and date and vowel, when asked). */
static int rows_before(const reader *r, bool same_session)
{
    int n = 0;
    for (size_t i = 0; i < r->row; i++) {
        reader o = {.t = r->t, .row = i};
        bool same = strcmp(text(&o, "singer"), text(r, "singer")) == 0;
        if (same_session)
            same = same && strcmp(text(&o, "date"), text(r, "date")) == 0 &&
                   strcmp(text(&o, "vowel"), text(r, "vowel")) == 0;
        n += same;
    }
    return n;
}

static void truth_write(FILE *out, const reader *r, const performance *p)
{
    for (size_t i = 0; i < p->n_flips; i++) {
        const sung_flip *f = &p->flips[i];
        fprintf(out, "%s\t%s\t%s\t%.4f\t%s\t%.1f\t%.3f\t%.3f\t%.2f\t%d\n", text(r, "file"),
                text(r, "singer"), text(r, "date"), f->time_s,
                f->direction == FLIP_UP ? "up" : "down", f->span_ms, f->leap_st, f->pitch_before_st,
                f->level_db, f->at_will);
    }
}

static void boundary_write(FILE *out, const reader *r, const singer *s)
{
    const singer_boundary *b = &s->boundary;
    fprintf(out, "%s\t%s\t%c\t%.2f\t%.3f\t%.3f\t%.4f\t%.3f\t%.3f\t%.3f\n", text(r, "singer"),
            text(r, "date"), s->vowel, b->level_db, b->pitch_st, b->pitch_st - b->hysteresis,
            b->slope, b->spread, b->hysteresis, s->leap_st);
}

typedef struct truth_tables {
    FILE *flips, *frames, *boundary;
} truth_tables;

static bool row_render(reader *r, const char *folder, const truth_tables *to)
{
    const char *file = text(r, "file");
    if (!*file || *file == '/' || strstr(file, ".."))
        return fault(r, "file must be a path under the folder");
    singer s = singer_read(r);
    score sc = score_read(r);
    if (!r->ok)
        return false;
    int take = rows_before(r, false);
    char *path = xformat("%s/%s", folder, file);
    performance p = perform(&s, &sc, take);
    sound x = sing(&s, &p, take);
    sing_in_place(&s, &x, take);
    bool ok = files_way_to(path, r->e) && files_write_wav(path, &x, 16, r->e);
    truth_write(to->flips, r, &p);
    studio_frames_write(to->frames, file, &p);
    if (rows_before(r, true) == 0)
        boundary_write(to->boundary, r, &s);
    sound_clear(&x);
    performance_clear(&p);
    free(path);
    return ok;
}

static bool rows_render(const table *t, const char *folder, const truth_tables *to, err *e)
{
    fputs("file\tsinger\tdate\ttime_s\tdirection\tspan_ms\tleap_st\tpitch_before_st\tlevel_db\t"
          "atwill\n",
          to->flips);
    fputs("take\ttime_s\tpitch_st\tlevel_db\tregister\n", to->frames);
    fputs("singer\tdate\tvowel\tlevel_db\tup_st\tdown_st\tslope\tspread\thysteresis\tleap_st\n",
          to->boundary);
    for (size_t row = 0; row < t->n_rows; row++) {
        reader r = {.t = t, .row = row, .e = e, .ok = true};
        if (!row_render(&r, folder, to))
            return false;
    }
    return true;
}

bool studio_scenario(const char *table_path, const char *folder, err *e)
{
    table *t = NULL;
    truth_tables to = {0};
    bool ok = table_read(table_path, &t, e) && files_folder(folder, e) &&
              files_create(folder, "truth.tsv", &to.flips, e) &&
              files_create(folder, "frames.tsv", &to.frames, e) &&
              files_create(folder, "boundary.tsv", &to.boundary, e) &&
              rows_render(t, folder, &to, e);
    FILE *all[] = {to.flips, to.frames, to.boundary};
    for (size_t i = 0; i < 3; i++)
        if (all[i] && fclose(all[i]) != 0)
            ok = err_set(e, "The truth in %s could not be written whole.", folder);
    table_free(t);
    return ok;
}
