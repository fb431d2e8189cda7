/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/leap.h"

#include "base/array.h"

#include <gsl/gsl_statistics.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

static const double half_s = 0.04, alone_s = 0.15, same_s = 0.1;
static const double near_st = 1, least_near = 0.4, least_leap_st = 2;

/* The note that a take is on; NaN: none. */
static double note_of(const track *t)
{
    double *x = xmalloc(t->n, sizeof *x), note = (double)NAN;
    size_t n = 0, near = 0;
    for (size_t i = 0; i < t->n; i++)
        if (!isnan(t->pitch_st[i]))
            x[n++] = t->pitch_st[i];
    if (n)
        note = gsl_stats_median(x, 1, n);
    for (size_t i = 0; i < n; i++)
        near += fabs(x[i] - note) < near_st;
    free(x);
    return (double)near >= least_near * (double)n ? note : (double)NAN;
}

/* How far the pitch goes away from the note about frame i; NaN where a side of it has no voice. */
static double away(const track *t, double note, size_t i, size_t half)
{
    if (i < half || i + half >= t->n)
        return (double)NAN;
    return fabs(t->pitch_st[i + half] - note) - fabs(t->pitch_st[i - half] - note);
}

static bool largest(const track *t, double note, size_t i, size_t half, size_t reach)
{
    double here = away(t, note, i, half);
    for (size_t k = i > reach ? i - reach : 0; k <= i + reach; k++) {
        double there = away(t, note, k, half);
        if (there > here || (there == here && k < i))
            return false;
    }
    return true;
}

static bool flips_at(const flips *known, double time_s)
{
    for (size_t i = 0; i < known->n; i++)
        if (fabs(known->items[i].time_s - time_s) < same_s)
            return true;
    return false;
}

void leap_add(const track *t, double least_st, flips *known)
{
    size_t half = (size_t)lround(half_s / t->hop_s), reach = (size_t)lround(alone_s / t->hop_s);
    double note = note_of(t), least = fmax(least_st, least_leap_st);
    for (size_t i = 0; i < t->n; i++) {
        if (!(away(t, note, i, half) >= least) || !largest(t, note, i, half, reach) ||
            flips_at(known, t->time_s[i]))
            continue;
        double leap_st = t->pitch_st[i + half] - t->pitch_st[i - half];
        flips_append(known, (flip){.time_s = t->time_s[i],
                                   .direction = leap_st > 0 ? FLIP_UP : FLIP_DOWN,
                                   .span_ms = 2000 * half_s,
                                   .confidence = 1,
                                   .leap_cents = 100 * leap_st,
                                   .level_step_db = (double)NAN});
    }
    flips_sort(known);
}

/* How far flips step between two times: of the level, the flips' own steps; of the pitch and where
 * a step is not told, all that x does. 0 without flips. */
static double step_between(const flips *found, double from_s, double to_s, bool level, double all)
{
    double step = 0;
    for (size_t i = 0; i < found->n; i++) {
        const flip *f = &found->items[i];
        if (f->time_s <= from_s || f->time_s >= to_s)
            continue;
        if (!level || isnan(f->level_step_db))
            return all;
        step += f->level_step_db;
    }
    return step;
}

void leap_take_out(const outline *c, const track *t, const flips *known, bool level, double *x)
{
    double meant = c->n ? x[0] : 0, leap = 0, before = 0;
    for (size_t i = 1; i < c->n; i++) {
        const outline_point *p = &c->items[i];
        double off = x[i] - meant, step = 0;
        if (p->piece != p[-1].piece)
            step = step_between(known, t->time_s[p[-1].frame], t->time_s[p->frame], level,
                                off - before);
        if (step != 0)
            leap = before + step;
        double pushed = fmax(off - fmax(leap, 0), 0) + fmin(off - fmin(leap, 0), 0);
        meant += pushed;
        before = off - pushed;
        x[i] = meant;
    }
}
