/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice3/periods.h"

#include "base/array.h"
#include "base/note.h"

#include <math.h>
#include <stdlib.h>

#define LOWEST_HZ 50.0
#define LEAST_SWING_M2 5e-7 /* 0.005 cm2: breath is heard alone */
#define MARGIN 0.15         /* of the swing, by which the area has to fall before it rises */
#define SHORTEST_S 0.08     /* stay in a register */
#define SETTLING_S 0.2      /* the same where the voice sets in or ends: the pressure moves */
#define BOUND_MARGIN 1.1
#define SUDDEN 0.5 /* what is left of the contact at most, from 0.2 s before to 0.2 s after */
#define LONGEST_MS 250
#define REACH_S 0.01

static void append(periods *p, size_t *room, period q)
{
    array_reserve((void **)&p->items, room, p->n + 1, sizeof *p->items);
    p->items[p->n++] = q;
}

static void cycles_find(const motion *m, periods *p)
{
    size_t room = 0;
    double low = 0, high = 0, least = INFINITY, most = 0, contact = 0, start = 0, count = 0;
    bool above = false;
    for (size_t i = 1; i < m->n; i++) {
        double area = m->area_m2[i], middle = (low + high) / 2;
        least = fmin(least, area);
        most = fmax(most, area);
        contact += m->contact[i];
        count++;
        if (area < middle - MARGIN * (high - low))
            above = false;
        bool rises = !above && area > middle && m->area_m2[i - 1] <= middle;
        double length = (double)i - start;
        if (!rises && length < m->rate_hz / LOWEST_HZ)
            continue;
        if (rises) {
            double at = (double)i - (area - middle) / (area - m->area_m2[i - 1]);
            double swing = most - least;
            append(p, &room,
                   (period){start / m->rate_hz, (at - start) / m->rate_hz, contact / count, swing,
                            swing >= LEAST_SWING_M2});
            start = at;
            above = true;
        } else
            start = (double)i;
        low = least;
        high = most;
        least = INFINITY;
        most = contact = count = 0;
    }
}

/* Mean of the four cycles around the start of one: cycles may differ by turns. */
static double contact_near(const periods *p, size_t i)
{
    size_t lo = i > 2 ? i - 2 : 0, hi = i + 2 < p->n ? i + 2 : p->n;
    double sum = 0;
    for (size_t k = lo; k < hi; k++)
        sum += p->items[k].contact;
    return sum / (double)(hi - lo);
}

static void label(periods *p, double bound)
{
    int reg = 0;
    for (size_t i = 0; i < p->n; i++) {
        double c = contact_near(p, i);
        if (!p->items[i].reg) {
            reg = 0;
            continue;
        }
        if (!reg)
            reg = c > bound ? 1 : 2;
        else if (reg == 1 ? c < bound / BOUND_MARGIN : c > bound * BOUND_MARGIN)
            reg = 3 - reg;
        p->items[i].reg = reg;
    }
}

static size_t run_end(const periods *p, size_t from)
{
    size_t i = from;
    while (i < p->n && p->items[i].reg == p->items[from].reg)
        i++;
    return i;
}

/* Short stays take the register before them, or after them where the voice has just set in; none
 * where they stand alone. */
static void settle(periods *p)
{
    for (size_t from = 0, to; from < p->n; from = to) {
        to = run_end(p, from);
        double seconds =
            p->items[to - 1].start_s + p->items[to - 1].length_s - p->items[from].start_s;
        int before = from ? p->items[from - 1].reg : 0, after = to < p->n ? p->items[to].reg : 0;
        int other = before ? before : after;
        if (!p->items[from].reg || seconds >= (before && after ? SHORTEST_S : SETTLING_S))
            continue;
        for (size_t i = from; i < to; i++)
            p->items[i].reg = other;
        to = before ? run_end(p, from) : from;
    }
}

static double mean_contact(const periods *p, double from_s, double to_s)
{
    double sum = 0, n = 0;
    for (size_t i = 0; i < p->n; i++)
        if (p->items[i].reg && p->items[i].start_s >= from_s && p->items[i].start_s < to_s) {
            sum += p->items[i].contact;
            n++;
        }
    return sum / n;
}

/* Log mean of the frequency of the cycles in between, in semitones. */
static double mean_pitch(const periods *p, double from_s, double to_s)
{
    double sum = 0, n = 0;
    for (size_t i = 0; i < p->n; i++) {
        double at = p->items[i].start_s + p->items[i].length_s / 2;
        if (p->items[i].reg && at >= from_s && at < to_s) {
            sum += note_from_hz(1 / p->items[i].length_s);
            n++;
        }
    }
    return sum / n;
}

/* Share of a change that is done in a cycle. */
static double done(const periods *p, size_t i, double before, double after)
{
    return (contact_near(p, i) - before) / (after - before);
}

static change change_at(const periods *p, size_t i)
{
    double t = p->items[i].start_s;
    double long_before = mean_contact(p, t - 0.25, t - 0.15);
    double long_after = mean_contact(p, t + 0.15, t + 0.25);
    double before = mean_contact(p, t - 0.15, t - 0.05);
    double after = mean_contact(p, t + 0.05, t + 0.15);
    size_t from = i, half, to = i;
    while (from > 0 && p->items[from - 1].reg && done(p, from - 1, before, after) > 0.1)
        from--;
    while (to + 1 < p->n && p->items[to].reg && done(p, to, before, after) < 0.9)
        to++;
    for (half = from; half < to && done(p, half, before, after) < 0.5; half++)
        continue;
    double first = p->items[from].start_s, last = p->items[to].start_s;
    change c = {.time_s = p->items[half].start_s, .up = p->items[i].reg == 2};
    c.span_ms = 1000 * (last - first);
    c.sudden = c.span_ms <= LONGEST_MS &&
               fmin(long_before, long_after) < SUDDEN * fmax(long_before, long_after);
    c.before_st = mean_pitch(p, first - 0.05, first);
    c.after_st = mean_pitch(p, last, last + 0.05);
    return c;
}

static void changes_find(periods *p)
{
    size_t room = 0;
    for (size_t i = 1; i < p->n; i++)
        if (p->items[i].reg && p->items[i - 1].reg && p->items[i].reg != p->items[i - 1].reg) {
            array_reserve((void **)&p->changes, &room, p->n_changes + 1, sizeof *p->changes);
            p->changes[p->n_changes++] = change_at(p, i);
        }
}

periods periods_measure(const motion *m, double contact_bound)
{
    periods p = {0};
    cycles_find(m, &p);
    label(&p, contact_bound);
    settle(&p);
    changes_find(&p);
    return p;
}

void periods_clear(periods *p)
{
    free(p->items);
    free(p->changes);
    *p = (periods){0};
}

int periods_at(const periods *p, double time_s, double *pitch_st)
{
    int reg = 0;
    for (size_t i = 0; i < p->n && p->items[i].start_s <= time_s; i++)
        if (time_s < p->items[i].start_s + p->items[i].length_s)
            reg = p->items[i].reg;
    *pitch_st = reg ? mean_pitch(p, time_s - REACH_S, time_s + REACH_S) : (double)NAN;
    return reg;
}
