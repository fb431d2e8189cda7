/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/sung.h"

#include "base/array.h"
#include "fit/frames.h"
#include "fit/plan.h"
#include "fit/ranges.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double LEAST_S = 0.15; /* common practice, no source */
/* A line that is flatter, st/dB, meets a pitch at no level that is worth telling. */
static const double LEAST_SLOPE = 0.02;
static const double WORD_DB = 12, WORD_EDGE_DB = 15;
/* Light voice is louder on higher notes: its loudest on its lowest note, and dB a semitone more.
 * Common practice, no source. */
static const double LIGHT_DB = 2, LIGHT_SLOPE = 2.5;

static sung_register empty_register(void)
{
    sung_register r = {.lo_st = 1, .hi_st = 0};
    for (int i = 0; i < SUNG_NOTES; i++)
        r.floor_db[i] = r.ceiling_db[i] = (double)NAN;
    return r;
}

/* A copy of the labels in which only the frames that can be trusted have one. */
static unsigned char *trusted(const path *p)
{
    attempt_settings how = attempt_defaults();
    frames kept = frames_kept(p, &how);
    unsigned char *reg = xcalloc(p->n, sizeof *reg);
    for (size_t i = 0, k = 0; i < kept.n; i++, k++) {
        while (p->time_s[k] < kept.items[i].time_s)
            k++;
        reg[k] = kept.items[i].reg;
    }
    frames_clear(&kept);
    return reg;
}

/* The run of notes about the one that was sung longest. */
static sung_register register_of(const range *items, size_t n, int reg)
{
    sung_register r = empty_register();
    double seconds[SUNG_NOTES] = {0};
    int longest = 0;
    for (size_t i = 0; i < n; i++) {
        int at = (int)lround(items[i].pitch_st) - SUNG_LOW_ST;
        if (items[i].reg != reg || items[i].seconds < LEAST_S)
            continue;
        seconds[at] = items[i].seconds;
        r.floor_db[at] = items[i].floor_db.estimate;
        r.ceiling_db[at] = items[i].ceiling_db.estimate;
        if (seconds[at] > seconds[longest])
            longest = at;
    }
    if (seconds[longest] > 0) {
        int lo = longest, hi = longest;
        while (lo > 0 && seconds[lo - 1] > 0)
            lo--;
        while (hi + 1 < SUNG_NOTES && seconds[hi + 1] > 0)
            hi++;
        r.lo_st = lo + SUNG_LOW_ST;
        r.hi_st = hi + SUNG_LOW_ST;
    }
    return r;
}

static const sung_line untold = {(double)NAN, (double)NAN, (double)NAN, (double)NAN};

static sung_line line_of(const boundary *b, flip_direction d)
{
    if (!b)
        return untold;
    double at_db = boundary_at_db(b), here = boundary_pitch_at(b, d, at_db).estimate;
    double over = boundary_pitch_at(b, d, at_db + 1).estimate - here;
    double under = boundary_pitch_at(b, d, at_db - 1).estimate - here;
    return (sung_line){at_db, here, (over - under) / 2, (over + under) / 2};
}

static void in_words(sung_voice *s)
{
    s->levels_known = s->levels_are_spl = false;
    s->soft_db = -WORD_DB;
    s->middle_db = 0;
    s->loud_db = WORD_DB;
    for (int r = 0; r < 2; r++) {
        s->flips[r].slope = 0;
        for (int i = 0; i < SUNG_NOTES; i++) {
            int up_st = i + SUNG_LOW_ST - s->reg[r].lo_st;
            double ceiling = r == 0 ? WORD_EDGE_DB : LIGHT_DB + LIGHT_SLOPE * fmax(up_st, 0);
            s->reg[r].floor_db[i] = -WORD_EDGE_DB;
            s->reg[r].ceiling_db[i] = fmin(ceiling, WORD_EDGE_DB);
        }
    }
}

bool sung_gather(const path *paths, size_t n, const boundary *b_or_null, bool levels_known,
                 bool levels_are_spl, sung_voice *out)
{
    plan_reach reach = {0};
    range *items;
    path *clean = xcalloc(n, sizeof *clean);
    unsigned char **reg = xcalloc(n, sizeof *reg);
    for (size_t i = 0; i < n; i++) {
        clean[i] = paths[i];
        clean[i].reg = reg[i] = trusted(&paths[i]);
    }
    size_t n_items = ranges_of(clean, n, &items);
    *out = (sung_voice){.from_map = true, .levels_known = true, .levels_are_spl = levels_are_spl};
    for (int r = 0; r < 2; r++) {
        out->reg[r] = register_of(items, n_items, r + 1);
        out->flips[r] = line_of(b_or_null, (flip_direction)r);
    }
    bool any = plan_reach_of(clean, n, &reach) &&
               (out->reg[0].lo_st <= out->reg[0].hi_st || out->reg[1].lo_st <= out->reg[1].hi_st);
    out->soft_db = reach.soft_db;
    out->middle_db = reach.middle_db;
    out->loud_db = reach.loud_db;
    if (any && !levels_known)
        in_words(out);
    if (!any)
        *out = sung_default();
    for (size_t i = 0; i < n; i++)
        free(reg[i]);
    free(reg);
    free(clean);
    free(items);
    return any;
}

sung_voice sung_default(void)
{
    sung_voice s = {.flips = {untold, untold}};
    s.reg[0] = s.reg[1] = empty_register();
    s.reg[0].lo_st = 55;
    s.reg[0].hi_st = 64;
    s.reg[1].lo_st = 62;
    s.reg[1].hi_st = 69;
    in_words(&s);
    return s;
}

bool sung_note(const sung_voice *s, int reg, int st)
{
    return st >= s->reg[reg - 1].lo_st && st <= s->reg[reg - 1].hi_st;
}

double sung_floor(const sung_voice *s, int reg, int st)
{
    return s->reg[reg - 1].floor_db[st - SUNG_LOW_ST];
}

double sung_ceiling(const sung_voice *s, int reg, int st)
{
    return s->reg[reg - 1].ceiling_db[st - SUNG_LOW_ST];
}

bool sung_at(const sung_voice *s, int reg, double st, double db)
{
    int note = (int)lround(st);
    return sung_note(s, reg, note) && db >= sung_floor(s, reg, note) &&
           db <= sung_ceiling(s, reg, note);
}

double sung_flip(const sung_voice *s, flip_direction d, double db)
{
    const sung_line *line = &s->flips[d];
    double x = db - line->at_db;
    return line->pitch_st + (line->slope + line->curve * x) * x;
}

double sung_flip_level(const sung_voice *s, flip_direction d, double st)
{
    const sung_line *line = &s->flips[d];
    double rise = st - line->pitch_st, square = line->slope * line->slope + 4 * line->curve * rise;
    double slope_there = square > 0 ? sqrt(square) : 0; /* where it rises through st */
    if (!(slope_there > LEAST_SLOPE) || !(line->slope + slope_there > LEAST_SLOPE))
        return (double)NAN;
    return line->at_db + 2 * rise / (line->slope + slope_there);
}
