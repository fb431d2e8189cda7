/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/attempts.h"

#include "base/array.h"
#include "fit/frames.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_fit.h>

/* Slopes for which the hull holds every place of the maximum; the prior on the slope
 * (fit/prior.h) makes anything steeper impossible. */
static const double STEEPEST_ST_PER_DB = 2.0;
/* A leap shows ahead of the labelled flip when frames next to it have gone this share of it, and
 * this far. A logistic change that is 20 % done at d before its middle is 0.4 % done at 4 d: frames
 * up to there are taken off, since the line through the rest is carried across. */
static const double LEAP_SHARE = 0.2, LEAP_ST = 0.5, DIP_DB = 2.0, LEAP_REACH = 4.0;
/* Across an unvoiced stretch: the fastest slide and swell that are carried on. */
static const double FASTEST_ST_PER_S = 20.0, FASTEST_DB_PER_S = 60.0;

attempt_settings attempt_defaults(void)
{
    return (attempt_settings){.gap_s = 0.25,
                              .shortest_s = 0.04,
                              .edge_s = 0.06,
                              .edge_db = 3.0,
                              .leap_s = 0.075,
                              .line_s = 0.06};
}

void attempts_clear(attempts *a)
{
    free(a->items);
    free(a->hull);
    *a = (attempts){0};
}

/* Pitch and level as straight lines in time. n = 0: undefined. */
typedef struct line {
    size_t n;
    double time_s;
    level_pitch at, rate;
} line;

static level_pitch line_at(const line *l, double time_s)
{
    double t = time_s - l->time_s;
    return (level_pitch){l->at.level_db + t * l->rate.level_db,
                         l->at.pitch_st + t * l->rate.pitch_st};
}

enum { LINE_FRAMES = 256 };

/* Least squares through frames[from .. to - 1]; level for fewer than three. */
static line line_fit(const frames *f, size_t from, size_t to)
{
    double t[LINE_FRAMES], pitch[LINE_FRAMES], level[LINE_FRAMES], c00, c01, c11, sum;
    line l = {.n = to > from ? to - from : 0};
    if (l.n > LINE_FRAMES) {
        l.n = LINE_FRAMES;
        from = to - l.n;
    }
    if (!l.n)
        return l;
    l.time_s = f->items[from].time_s;
    l.at = (level_pitch){f->items[to - 1].level_db, f->items[to - 1].pitch_st};
    if (l.n < 3)
        return l;
    for (size_t i = 0; i < l.n; i++) {
        const frame *now = &f->items[from + i];
        t[i] = now->time_s - l.time_s;
        pitch[i] = now->pitch_st;
        level[i] = now->level_db;
    }
    gsl_fit_linear(t, 1, pitch, 1, l.n, &l.at.pitch_st, &l.rate.pitch_st, &c00, &c01, &c11, &sum);
    gsl_fit_linear(t, 1, level, 1, l.n, &l.at.level_db, &l.rate.level_db, &c00, &c01, &c11, &sum);
    return l;
}

/* Frames of r with lo <= time <= hi. */
static line line_between(const frames *f, const run *r, double lo, double hi)
{
    size_t from = r->first, end = r->first + r->n;
    while (from < end && f->items[from].time_s < lo)
        from++;
    size_t to = from;
    while (to < end && f->items[to].time_s <= hi)
        to++;
    return line_fit(f, from, to);
}

/* The last stretch of a run, at least four frames of it. */
static line line_last(const frames *f, const run *r, double seconds)
{
    size_t end = r->first + r->n, from = end - 1;
    double last = f->items[end - 1].time_s;
    while (from > r->first &&
           (end - from < 4 || f->items[from - 1].time_s >= last - seconds - 1e-9))
        from--;
    return line_fit(f, from, end);
}

static line line_first(const frames *f, const run *r, double seconds)
{
    size_t end = r->first + r->n, to = r->first + 1;
    double first = f->items[r->first].time_s;
    while (to < end && (to - r->first < 4 || f->items[to].time_s <= first + seconds + 1e-9))
        to++;
    return line_fit(f, r->first, to);
}

/* The frame belongs to the change: part of the leap, or of the dip in level, shows in it. */
static bool in_change(const frame *now, const line *side, double leap_st)
{
    level_pitch clean = line_at(side, now->time_s);
    double gone = now->pitch_st - clean.pitch_st;
    return (fabs(gone) > LEAP_ST && gone / leap_st > LEAP_SHARE) ||
           fabs(now->level_db - clean.level_db) > DIP_DB;
}

/* Takes frames of the change itself off the end of the old run and the start of the new one. */
static void cut_change(const frames *f, const attempt_settings *s, run *old, run *new)
{
    double last = f->items[old->first + old->n - 1].time_s, first = f->items[new->first].time_s;
    double middle = 0.5 * (last + first), reach_old = 0, reach_new = 0;
    line before = line_between(f, old, last - s->leap_s - s->line_s, last - s->leap_s);
    line after = line_between(f, new, first + s->leap_s, first + s->leap_s + s->line_s);
    if (before.n < 3 || after.n < 3)
        return;
    double leap = line_at(&after, middle).pitch_st - line_at(&before, middle).pitch_st;
    for (size_t i = old->n; i-- > 0;) {
        const frame *now = &f->items[old->first + i];
        if (last - now->time_s > s->leap_s || !in_change(now, &before, leap))
            break;
        reach_old = fmin(LEAP_REACH * (middle - now->time_s), s->leap_s);
    }
    for (size_t i = 0; i < new->n; i++) {
        const frame *now = &f->items[new->first + i];
        if (now->time_s - first > s->leap_s || !in_change(now, &after, -leap))
            break;
        reach_new = fmin(LEAP_REACH * (now->time_s - middle), s->leap_s);
    }
    while (old->n > 1 && middle - f->items[old->first + old->n - 1].time_s < reach_old)
        old->n--;
    for (; new->n > 1 && f->items[new->first].time_s - middle < reach_new; new->n--)
        new->first++;
}

static double mean_p_m2(const frames *f, size_t from, size_t to)
{
    double sum = 0, n = 0;
    for (size_t i = from; i < to; i++)
        if (isfinite(f->items[i].p_m2)) {
            sum += f->items[i].p_m2;
            n++;
        }
    return n > 0 ? sum / n : (double)NAN;
}

/* Probability that the register was the old one before and the new one after, from the means of
 * p_m2 over line_s on both sides; a side without p_m2 counts fully. */
static double flip_weight(const frames *f, const attempt_settings *s, const run *old,
                          const run *new)
{
    size_t from = old->first + old->n - 1, to = new->first;
    double last = f->items[from].time_s, first = f->items[to].time_s;
    while (from > old->first && f->items[from - 1].time_s >= last - s->line_s)
        from--;
    while (to < new->first + new->n && f->items[to].time_s <= first + s->line_s)
        to++;
    double before = mean_p_m2(f, from, old->first + old->n), after = mean_p_m2(f, new->first, to);
    if (f->items[old->first].reg == 2) {
        before = 1.0 - before;
        after = 1.0 - after;
    }
    double weight = (isnan(before) ? 1.0 : 1.0 - before) * (isnan(after) ? 1.0 : after);
    return fmin(fmax(weight, 0.0), 1.0);
}

static void hull_append(attempts *a, level_pitch point)
{
    array_reserve((void **)&a->hull, &a->hull_room, a->n_hull + 1, sizeof *a->hull);
    a->hull[a->n_hull++] = point;
}

static int by_level(const void *a, const void *b)
{
    const level_pitch *p = a, *q = b;
    if (p->level_db != q->level_db)
        return p->level_db < q->level_db ? -1 : 1;
    return (p->pitch_st > q->pitch_st) - (p->pitch_st < q->pitch_st);
}

/* > 0 where b lies strictly on the outer side of the line from a to c. */
static double bulge(level_pitch a, level_pitch b, level_pitch c, double sign)
{
    return sign * ((b.pitch_st - a.pitch_st) * (c.level_db - a.level_db) -
                   (c.pitch_st - a.pitch_st) * (b.level_db - a.level_db));
}

static double steepness(level_pitch a, level_pitch b)
{
    return (b.pitch_st - a.pitch_st) / (b.level_db - a.level_db);
}

/* Keeps of hull[first ..] the upper (sign +1) or lower convex hull, without the corners that no
 * slope within +-STEEPEST reaches (Andrew's monotone chain, 1979). */
static void hull_reduce(attempts *a, size_t first, double sign)
{
    level_pitch *h = a->hull + first;
    size_t n = a->n_hull - first, m = 0, skip = 0;
    qsort(h, n, sizeof *h, by_level);
    for (size_t i = 0; i < n; i++) {
        while (m > 0 && h[m - 1].level_db == h[i].level_db &&
               sign * (h[i].pitch_st - h[m - 1].pitch_st) >= 0)
            m--;
        if (m > 0 && h[m - 1].level_db == h[i].level_db)
            continue;
        while (m > 1 && bulge(h[m - 2], h[m - 1], h[i], sign) <= 0)
            m--;
        h[m++] = h[i];
    }
    while (m - skip > 1 && sign * steepness(h[m - 2], h[m - 1]) < -STEEPEST_ST_PER_DB)
        m--;
    while (m - skip > 1 && sign * steepness(h[skip], h[skip + 1]) > STEEPEST_ST_PER_DB)
        skip++;
    for (size_t i = skip; i < m; i++)
        h[i - skip] = h[i];
    a->n_hull = first + m - skip;
}

/* The attempt over one run, not flipped. */
static attempt *attempt_new(attempts *a, const frames *f, const run *r, size_t index)
{
    array_reserve((void **)&a->items, &a->room, a->n + 1, sizeof *a->items);
    attempt *t = &a->items[a->n++];
    const frame *start = &f->items[r->first], *end = &f->items[r->first + r->n - 1];
    *t = (attempt){.path = index,
                   .direction = start->reg == 1 ? FLIP_UP : FLIP_DOWN,
                   .seconds = end->time_s - start->time_s,
                   .start = {start->level_db, start->pitch_st},
                   .first = a->n_hull,
                   .time_s = (double)NAN,
                   .pitch_after_st = NAN};
    for (size_t i = r->first; i < r->first + r->n; i++)
        hull_append(a, (level_pitch){f->items[i].level_db, f->items[i].pitch_st});
    return t;
}

/* Old and new: the runs without the frames of the change; last and first: with them. */
static void attempt_flip(attempts *a, attempt *t, const frames *f, const attempt_settings *s,
                         const run *old, const run *new, double last_s, double first_s)
{
    bool hole = first_s - f->items[old->first + old->n - 1].time_s > s->line_s + f->step_s;
    line before = line_last(f, old, hole ? 200.0 / 60.0 * s->line_s : s->line_s);
    if (hole) {
        before.at = line_at(&before, last_s);
        before.time_s = last_s;
        before.rate.pitch_st =
            fmax(-FASTEST_ST_PER_S, fmin(FASTEST_ST_PER_S, before.rate.pitch_st));
        before.rate.level_db =
            fmax(-FASTEST_DB_PER_S, fmin(FASTEST_DB_PER_S, before.rate.level_db));
    }
    line after = line_first(f, new, s->line_s);
    t->flipped = true;
    t->time_s = 0.5 * (last_s + first_s);
    t->crossing = line_at(&before, first_s);
    t->rate = before.rate;
    t->before = line_at(&before, t->time_s);
    if (after.n >= 3)
        t->pitch_after_st = line_at(&after, t->time_s).pitch_st;
    if (last_s > f->items[old->first + old->n - 1].time_s)
        hull_append(a, line_at(&before, last_s));
}

void attempts_append(attempts *a, const path *p, size_t index, const attempt_settings *s)
{
    frames f = frames_kept(p, s);
    for (size_t i = 0; i < f.n_runs; i++) {
        run *old = &f.runs[i], *new = i + 1 < f.n_runs ? old + 1 : NULL;
        double last = f.items[old->first + old->n - 1].time_s;
        double first = new ? f.items[new->first].time_s : INFINITY;
        bool flipped = new &&first - last <= s->gap_s + f.step_s &&f.items[new->first].reg !=
                       f.items[old->first].reg;
        double weight = flipped ? flip_weight(&f, s, old, new) : 0;
        if (flipped)
            cut_change(&f, s, old, new);
        attempt *t = attempt_new(a, &f, old, index);
        t->weight = weight;
        if (flipped)
            attempt_flip(a, t, &f, s, old, new, last, first);
        hull_reduce(a, t->first, t->direction == FLIP_UP ? 1 : -1);
        t->n_hull = a->n_hull - t->first;
    }
    frames_clear(&f);
}
