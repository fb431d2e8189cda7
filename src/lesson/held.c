/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/held.h"

#include "base/array.h"
#include "lesson/leap.h"
#include "lesson/outline.h"
#include "lesson/vibrato.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double silence_s = 0.15; /* a longer gap ends a stretch of voice: voice/run.h */

held_settings held_defaults(void)
{
    return (held_settings){.pitch_st = 1,
                           .level_db = 6,
                           .register_share = 0.95,
                           .slope_st = 2,
                           .slope_db = 4,
                           .doubt = 0.1,
                           .least_s = 0.5,
                           .unnamed_s = 2};
}

bool held_hummed(const char *vowel)
{
    return strcmp(vowel, "m") == 0 || strcmp(vowel, "n") == 0 || strcmp(vowel, "ng") == 0;
}

const char *leak_unit_name(leak_unit u)
{
    static const char *const names[] = {
        [LEAK_NONE] = "",
        [LEAK_DB_PER_OCTAVE] = "dB/octave",
        [LEAK_CENTS_PER_10_DB] = "cents/10 dB",
        [LEAK_CENTS] = "cents",
        [LEAK_DB] = "dB",
        [LEAK_FLIPS] = "flips",
    };
    return names[u];
}

/* Pitch and level as arrays. */
typedef struct lines {
    size_t n;
    double *pitch_st, *level_db;
} lines;

static lines lines_of(const outline *c)
{
    lines l = {c->n, xmalloc(c->n, sizeof(double)), xmalloc(c->n, sizeof(double))};
    for (size_t i = 0; i < c->n; i++) {
        l.pitch_st[i] = c->items[i].pitch_st;
        l.level_db[i] = c->items[i].level_db;
    }
    return l;
}

static void lines_clear(lines *l)
{
    free(l->pitch_st);
    free(l->level_db);
}

/* From 5 to 95 % of x[n], n >= 1. */
static double range(const double *x, size_t n)
{
    double *sorted = xmalloc(n, sizeof *sorted);
    for (size_t i = 0; i < n; i++)
        sorted[i] = x[i];
    gsl_sort(sorted, 1, n);
    double r = gsl_stats_quantile_from_sorted_data(sorted, 1, n, 0.95) -
               gsl_stats_quantile_from_sorted_data(sorted, 1, n, 0.05);
    free(sorted);
    return r;
}

/* The mean of its piece is taken off each point. */
static void centre(const outline *c, double *x)
{
    for (size_t first = 0, end; first < c->n; first = end) {
        for (end = first; end < c->n && c->items[end].piece == c->items[first].piece;)
            end++;
        double mean = gsl_stats_mean(x + first, 1, end - first);
        for (size_t i = first; i < end; i++)
            x[i] -= mean;
    }
}

/* How far y goes with x within pieces, by least squares; each piece has a mean of its own. NaN
 * where x ranges over less than `least`. */
static double slope(const double *x, const double *y, size_t n, double least)
{
    double xx = 0, xy = 0;
    for (size_t i = 0; i < n; i++) {
        xx += x[i] * x[i];
        xy += x[i] * y[i];
    }
    return range(x, n) >= least && xx > 0 ? xy / xx : (double)NAN;
}

static void measure_slopes(const outline *c, const held_settings *s, held_score *out)
{
    lines l = lines_of(c);
    centre(c, l.pitch_st);
    centre(c, l.level_db);
    out->db_per_octave = 12 * slope(l.pitch_st, l.level_db, l.n, s->slope_st);
    out->cents_per_10_db = 1000 * slope(l.level_db, l.pitch_st, l.n, s->slope_db);
    lines_clear(&l);
}

/* Median size of the leaps, or of the level's steps, at flips of confidence `least` or more. */
static double median_step(const flips *found, double least, bool level)
{
    double *sizes = xmalloc(found->n, sizeof *sizes);
    size_t n = 0;
    for (size_t i = 0; i < found->n; i++) {
        const flip *f = &found->items[i];
        double step = level ? f->level_step_db : f->leap_cents;
        if (f->confidence >= least && !isnan(step))
            sizes[n++] = fabs(step);
    }
    double m = array_median(sizes, n);
    free(sizes);
    return m;
}

static void measure_flips(const flips *found, const held_settings *s, held_score *out)
{
    double least = s->hummed ? (double)INFINITY : FLIP_ASSERTED;
    for (size_t i = 0; i < found->n; i++)
        out->flips += found->items[i].confidence >= least;
    out->doubtful = found->n - out->flips;
    out->pitch_step_cents = median_step(found, least, false);
    out->level_step_db = median_step(found, least, true);
}

static void measure_register(const track *t, const held_settings *s, held_score *out)
{
    size_t in[3] = {0}, sounding = 0;
    for (size_t i = 0; i < t->n; i++) {
        in[t->reg[i]]++;
        sounding += !isnan(t->pitch_st[i]) && track_sounds(t, i);
    }
    size_t told = in[1] + in[2];
    out->register_share = (double)NAN;
    out->reg = t->declared == DECLARED_M1 ? 1 : t->declared == DECLARED_M2 || in[2] > in[1] ? 2 : 1;
    if (told)
        out->register_share = (double)in[out->reg] / (double)told;
    else if ((double)sounding * t->hop_s >= s->unnamed_s)
        out->register_share = 1;
    if (!told && t->declared == DECLARED_NONE)
        out->reg = 0;
}

/* Those of a confidence of `least` or more. */
static flips flips_from(const flips *found, double least)
{
    flips some = {0};
    for (size_t i = 0; i < found->n; i++)
        if (found->items[i].confidence >= least)
            flips_append(&some, found->items[i]);
    return some;
}

/* How likely the register changed at one flip at least, each true with its confidence. */
static double chance_of_change(const flips *found)
{
    double none = 1;
    for (size_t i = 0; i < found->n; i++)
        none *= 1 - found->items[i].confidence;
    return 1 - none;
}

/* Whether one register ends and the other begins after a silence, where no flip is to be heard. */
static bool changes_in_silence(const track *t)
{
    size_t last = 0;
    for (size_t i = 0; i < t->n; i++) {
        if (!t->reg[i])
            continue;
        if (t->reg[last] && t->reg[last] != t->reg[i] && (double)(i - last) * t->hop_s > silence_s)
            return true;
        last = i;
    }
    return false;
}

/* Sets the register's bit of moved or untold, or neither. */
static void find_register(const track *t, const flips *found, const held_settings *s,
                          held_score *out)
{
    double chance = chance_of_change(found), share = out->register_share;
    bool both = share < s->register_share && share > 1 - s->register_share;
    if (s->hummed)
        out->untold |= LESSON_REGISTER;
    else if (chance >= FLIP_ASSERTED || (both && changes_in_silence(t)))
        out->moved |= LESSON_REGISTER;
    else if (both || chance >= s->doubt || isnan(share))
        out->untold |= LESSON_REGISTER;
}

static void find_moved(const track *t, const flips *found, const held_settings *s, held_score *out)
{
    find_register(t, found, s, out);
    bool changes = out->moved & LESSON_REGISTER;
    flips at = flips_from(found, changes ? 0 : FLIP_ASSERTED);
    if (changes && at.n)
        leap_add(t, median_step(&at, 0, false) / 200, &at);
    outline c = outline_of(t, &at, 0);
    lines l = lines_of(&c);
    leap_take_out(&c, t, &at, false, l.pitch_st);
    leap_take_out(&c, t, &at, true, l.level_db);
    if (fmin(out->pitch_range_st, range(l.pitch_st, l.n)) >= s->pitch_st)
        out->moved |= LESSON_PITCH;
    if (fmin(out->level_range_db, range(l.level_db, l.n)) >= s->level_db)
        out->moved |= LESSON_LEVEL;
    lines_clear(&l);
    outline_clear(&c);
    flips_clear(&at);
}

static int find_held(int hold, const held_settings *s, const held_score *h)
{
    int held = 0;
    if (h->pitch_range_st < s->pitch_st)
        held |= LESSON_PITCH;
    if (h->level_range_db < s->level_db)
        held |= LESSON_LEVEL;
    if (!((h->moved | h->untold) & LESSON_REGISTER) && h->register_share >= s->register_share)
        held |= LESSON_REGISTER;
    return hold < 0 ? 0 : held & hold;
}

static void steadiness(const lines *l, int hold, int vary, held_score *out)
{
    int meant = hold < 0 ? 0 : hold, shown = meant | (LESSON_ALL & ~out->moved);
    if (vary >= 0)
        shown &= ~vary | meant;
    out->pitch_steady_cents = out->level_steady_db = (double)NAN;
    if (shown & LESSON_PITCH)
        out->pitch_steady_cents = 100 * gsl_stats_sd(l->pitch_st, 1, l->n);
    if (shown & LESSON_LEVEL)
        out->level_steady_db = gsl_stats_sd(l->level_db, 1, l->n);
}

/* What was held against what was varied; undeclared, what stayed against the one that moved. */
static void choose_leak(int hold, int vary, held_score *h)
{
    int moves = vary > 0 ? vary : h->moved;
    int stays = hold > 0 ? hold : hold < 0 ? LESSON_ALL & ~moves & ~h->untold : 0;
    h->leak = (double)NAN;
    if (moves == LESSON_PITCH && stays & LESSON_LEVEL) {
        h->leak = h->db_per_octave;
        h->unit = LEAK_DB_PER_OCTAVE;
    } else if (moves == LESSON_LEVEL && stays & LESSON_PITCH) {
        h->leak = h->cents_per_10_db;
        h->unit = LEAK_CENTS_PER_10_DB;
    } else if (moves == LESSON_REGISTER && stays & LESSON_PITCH) {
        h->leak = h->pitch_step_cents;
        h->unit = LEAK_CENTS;
    } else if (moves == LESSON_REGISTER && stays & LESSON_LEVEL) {
        h->leak = h->level_step_db;
        h->unit = LEAK_DB;
    } else if (hold > 0 && hold & LESSON_REGISTER) {
        h->leak = (double)h->flips;
        h->unit = LEAK_FLIPS;
    }
    if (isnan(h->leak))
        h->unit = LEAK_NONE;
}

static held_score nothing(double sung_s)
{
    double none = (double)NAN;
    return (held_score){.sung_s = sung_s,
                        .untold = LESSON_ALL,
                        .pitch_steady_cents = none,
                        .level_steady_db = none,
                        .pitch_range_st = none,
                        .level_range_db = none,
                        .register_share = none,
                        .db_per_octave = none,
                        .cents_per_10_db = none,
                        .pitch_step_cents = none,
                        .level_step_db = none,
                        .leak = none,
                        .vibrato_hz = none,
                        .vibrato_cents = none};
}

static void judge(const outline *c, const track *t, const flips *found, int hold, int vary,
                  const held_settings *s, held_score *out)
{
    lines l = lines_of(c);
    out->untold = 0;
    out->pitch_range_st = range(l.pitch_st, c->n);
    out->level_range_db = range(l.level_db, c->n);
    measure_slopes(c, s, out);
    measure_flips(found, s, out);
    measure_register(t, s, out);
    find_moved(t, found, s, out);
    steadiness(&l, hold, vary, out);
    out->held = find_held(hold, s, out);
    out->varied = vary < 0 ? 0 : vary & out->moved;
    choose_leak(hold, vary, out);
    vibrato v = vibrato_about(c, t);
    out->vibrato_hz = v.hz;
    out->vibrato_cents = v.cents;
    lines_clear(&l);
}

held_score held_judge(const track *t, const flips *found, int hold, int vary,
                      const held_settings *s)
{
    outline c = outline_of(t, found, FLIP_ASSERTED);
    held_score out = nothing((double)c.n * t->hop_s);
    if (out.sung_s >= s->least_s)
        judge(&c, t, found, hold, vary, s, &out);
    outline_clear(&c);
    return out;
}
