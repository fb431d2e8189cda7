/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/attempts.h"

#include "base/array.h"
#include "fit/change.h"
#include "fit/frames.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Slopes for which the hull holds every place of the maximum; the prior on the slope
 * (fit/prior.h) makes anything steeper impossible. */
static const double STEEPEST_ST_PER_DB = 2.0;
/* Curvatures, st/dB^2, between which the corners differ by nothing that counts, as far as the prior
 * on the curve lets it go; over less than CURVED_DB they are those of lines: 0.03 (CURVED_DB / 2)^2
 * is 0.1 st. Corners NEAR_DB apart lose 0.03 (NEAR_DB / 2)^2, 0.01 st. */
static const double CURVES[] = {-0.03, -0.015, 0.015, 0.03}, CURVED_DB = 4.0, NEAR_DB = 1.0;

attempt_settings attempt_defaults(void)
{
    return (attempt_settings){.gap_s = 0.25,
                              .shortest_s = 0.04,
                              .range_db = 45.0,
                              .edge_s = 0.06,
                              .edge_db = 3.0,
                              .cliff_db = 10.0,
                              .release_s = 0.6,
                              .leap_s = 0.075,
                              .line_s = 0.06,
                              .level_s = 0.2};
}

void attempts_clear(attempts *a)
{
    free(a->items);
    free(a->hull);
    *a = (attempts){0};
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

/* Of points in order of level the upper (sign +1) or lower convex hull, to the front, without the
 * corners that no slope within +-STEEPEST reaches (Andrew's monotone chain, 1979). */
static size_t hull_of(level_pitch *h, size_t n, double sign)
{
    size_t m = 0, skip = 0;
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
    memmove(h, h + skip, (m - skip) * sizeof *h);
    return m - skip;
}

/* The maximum above a parabola of the given curvature lies on the hull of what is left when that
 * is taken off. Appends its corners to out, none nearer than NEAR_DB to the one before. */
static void hull_curved(const level_pitch *points, size_t n, double sign, double curve,
                        level_pitch *room, attempts *out)
{
    double middle = 0.5 * (points[0].level_db + points[n - 1].level_db);
    for (size_t i = 0; i < n; i++) {
        double x = points[i].level_db - middle;
        room[i] = (level_pitch){points[i].level_db, points[i].pitch_st - curve * x * x};
    }
    size_t m = hull_of(room, n, sign), last = 0;
    for (size_t i = 0; i < m; i++) {
        double x = room[i].level_db - middle;
        if (i > 0 && i + 1 < m && room[i].level_db - room[last].level_db < NEAR_DB)
            continue;
        last = i;
        hull_append(out, (level_pitch){room[i].level_db, room[i].pitch_st + curve * x * x});
    }
}

/* Replaces hull[first ..], all frames, by those that are the maximum above some boundary. A take
 * at about one level looks the same to a parabola as to a line. */
static void hull_reduce(attempts *a, size_t first, double sign)
{
    size_t n = a->n_hull - first;
    level_pitch *points = xmalloc(2 * n, sizeof *points), *room = points + n;
    memcpy(points, a->hull + first, n * sizeof *points);
    qsort(points, n, sizeof *points, by_level);
    memcpy(a->hull + first, points, n * sizeof *points);
    a->n_hull = first + hull_of(a->hull + first, n, sign);
    if (points[n - 1].level_db - points[0].level_db > CURVED_DB)
        for (size_t k = 0; k < sizeof CURVES / sizeof *CURVES; k++)
            hull_curved(points, n, sign, CURVES[k], room, a);
    free(points);
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
                   .pitch_after_st = NAN,
                   .level_after_db = NAN};
    for (size_t i = r->first; i < r->first + r->n; i++)
        hull_append(a, (level_pitch){f->items[i].level_db, f->items[i].pitch_st});
    return t;
}

/* Takes the frames of the change off the end of the old run and the start of the new one. */
static void cut_change(const frames *f, const change *c, run *old, run *new)
{
    while (old->n > 1 &&
           c->middle_s - f->items[old->first + old->n - 1].time_s < c->old.reach_s - 1e-9)
        old->n--;
    for (; new->n > 1 && f->items[new->first].time_s - c->middle_s < c->new.reach_s - 1e-9;
         new->n--)
        new->first++;
}

static void attempt_flip(attempts *a, attempt *t, const frames *f, const run *old, const change *c)
{
    t->flipped = true;
    t->time_s = c->middle_s;
    t->crossing = change_at(c, &c->old, c->first_s);
    t->rate = c->old.rate;
    t->before = c->old.at;
    if (c->new.n >= 3) {
        t->pitch_after_st = c->new.at.pitch_st;
        t->level_after_db = c->new.at.level_db;
    }
    if (c->last_s > f->items[old->first + old->n - 1].time_s)
        hull_append(a, change_at(c, &c->old, c->last_s));
}

/* Two runs between which a flip fell, no silence. */
static bool flip_between(const frames *f, const run *old, const run *new, double gap_s)
{
    const frame *last = &f->items[old->first + old->n - 1], *first = &f->items[new->first];
    return first->reg != last->reg && first->time_s - last->time_s <= gap_s + f->step_s;
}

void attempts_append(attempts *a, const path *p, size_t index, const attempt_settings *s)
{
    frames f = frames_kept(p, s);
    for (size_t i = 0; i < f.n_runs; i++) {
        run *old = &f.runs[i], *new = old + 1;
        bool flipped = i + 1 < f.n_runs && flip_between(&f, old, new, s->gap_s);
        double weight = flipped ? flip_weight(&f, s, old, new) : 0;
        change c = {0};
        if (flipped) {
            c = change_between(&f, old, new, s);
            cut_change(&f, &c, old, new);
        }
        attempt *t = attempt_new(a, &f, old, index);
        t->weight = weight;
        if (flipped)
            attempt_flip(a, t, &f, old, &c);
        hull_reduce(a, t->first, t->direction == FLIP_UP ? 1 : -1);
        t->n_hull = a->n_hull - t->first;
    }
    frames_clear(&f);
}
