/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/frames.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_statistics_double.h>

/* Away and back within two frames faster than this is no voice: the peak speed of a vibrato of
 * +-1.2 st at 6 Hz (Prame 1997, from memory: extents +-0.34 to +-1.23 st). */
static const double SPIKE_ST = 0.3, SPIKE_ST_PER_S = 45.0;
/* The same for level: vibrato in level reaches about +-3 dB (common practice, no source). */
static const double SPIKE_DB = 3.0, SPIKE_DB_PER_S = 110.0;

static double median_step(const path *p)
{
    if (p->n < 2)
        return 0;
    double *step = xmalloc(p->n - 1, sizeof *step);
    for (size_t i = 1; i < p->n; i++)
        step[i - 1] = p->time_s[i] - p->time_s[i - 1];
    double median = gsl_stats_median(step, 1, p->n - 1);
    free(step);
    return median;
}

static void keep_labelled(const path *p, frames *f)
{
    for (size_t i = 0; i < p->n; i++) {
        bool labelled = p->reg[i] == 1 || p->reg[i] == 2;
        if (labelled && isfinite(p->pitch_st[i]) && isfinite(p->level_db[i]))
            f->items[f->n++] = (frame){p->time_s[i], p->pitch_st[i], p->level_db[i],
                                       p->p_m2 ? p->p_m2[i] : (double)NAN, p->reg[i]};
    }
}

/* Frames that belong together: the same register without a hole of more than two frames. */
static bool joined(const frames *f, size_t i)
{
    const frame *a = &f->items[i - 1], *b = &f->items[i];
    return a->reg == b->reg && b->time_s - a->time_s < 2.5 * f->step_s;
}

static bool is_spike(const frames *f, size_t i)
{
    double pitch[5], level[5];
    size_t n = 0, lo = i, hi = i;
    while (lo > 0 && i - lo < 2 && joined(f, lo))
        lo--;
    while (hi + 1 < f->n && hi - i < 2 && joined(f, hi + 1))
        hi++;
    for (size_t j = lo; j <= hi; j++, n++) {
        pitch[n] = f->items[j].pitch_st;
        level[n] = f->items[j].level_db;
    }
    if (n < 3)
        return false;
    return fabs(f->items[i].pitch_st - gsl_stats_median(pitch, 1, n)) >
               SPIKE_ST + SPIKE_ST_PER_S * f->step_s ||
           fabs(f->items[i].level_db - gsl_stats_median(level, 1, n)) >
               SPIKE_DB + SPIKE_DB_PER_S * f->step_s;
}

static void compact(frames *f, const bool *drop)
{
    size_t n = 0;
    for (size_t i = 0; i < f->n; i++)
        if (!drop[i])
            f->items[n++] = f->items[i];
    f->n = n;
}

static void drop_spikes(frames *f)
{
    bool *drop = xcalloc(f->n, sizeof *drop);
    for (size_t i = 0; i < f->n; i++)
        drop[i] = is_spike(f, i);
    compact(f, drop);
    free(drop);
}

static void find_runs(frames *f, double gap_s)
{
    f->n_runs = 0;
    for (size_t i = 0; i < f->n; i++) {
        bool goes_on = i > 0 && f->items[i].reg == f->items[i - 1].reg &&
                       f->items[i].time_s - f->items[i - 1].time_s <= gap_s + f->step_s;
        if (!goes_on)
            f->runs[f->n_runs++] = (run){i, 0};
        f->runs[f->n_runs - 1].n++;
    }
}

/* Once: a flicker of short runs is dropped as a whole, and what lasts on both sides meets. */
static void drop_short(frames *f, const attempt_settings *s)
{
    bool *drop = xcalloc(f->n, sizeof *drop);
    find_runs(f, s->gap_s);
    for (size_t r = 0; r < f->n_runs; r++)
        for (size_t i = 0; i < f->runs[r].n; i++)
            drop[f->runs[r].first + i] = (double)f->runs[r].n * f->step_s < s->shortest_s - 1e-9;
    compact(f, drop);
    free(drop);
}

/* Median level of the frames of [from, to) that lie edge..2 edge inside; NaN when there are none.
 */
static double level_inside(const frames *f, size_t from, size_t to, double edge_s, bool at_start)
{
    double level[256];
    size_t n = 0;
    double edge = f->items[at_start ? from : to - 1].time_s;
    for (size_t i = from; i < to && n < 256; i++) {
        double inside = fabs(f->items[i].time_s - edge);
        if (inside >= edge_s && inside <= 2 * edge_s)
            level[n++] = f->items[i].level_db;
    }
    return n ? gsl_stats_median(level, 1, n) : (double)NAN;
}

/* The voiced stretch [from, to) has silence on the sides said. */
static void mark_edges(const frames *f, size_t from, size_t to, const attempt_settings *s,
                       bool *drop)
{
    for (int at_start = 0; at_start <= 1; at_start++) {
        double inside = level_inside(f, from, to, s->edge_s, at_start);
        double edge = f->items[at_start ? from : to - 1].time_s;
        for (size_t i = from; i < to; i++)
            if (fabs(f->items[i].time_s - edge) < s->edge_s &&
                f->items[i].level_db < inside - s->edge_db)
                drop[i] = true;
    }
}

static void drop_edges(frames *f, const attempt_settings *s)
{
    bool *drop = xcalloc(f->n, sizeof *drop);
    double hole = fmax(2.5 * f->step_s, 0.5 * s->edge_s);
    for (size_t from = 0, to; from < f->n; from = to) {
        for (to = from + 1; to < f->n; to++)
            if (f->items[to].time_s - f->items[to - 1].time_s > hole)
                break;
        mark_edges(f, from, to, s, drop);
    }
    compact(f, drop);
    free(drop);
}

frames frames_kept(const path *p, const attempt_settings *s)
{
    frames f = {.step_s = median_step(p),
                .items = xmalloc(p->n, sizeof(frame)),
                .runs = xmalloc(p->n, sizeof(run))};
    keep_labelled(p, &f);
    drop_spikes(&f);
    drop_edges(&f, s);
    drop_short(&f, s);
    find_runs(&f, s->gap_s);
    return f;
}

void frames_clear(frames *f)
{
    free(f->items);
    free(f->runs);
    *f = (frames){0};
}
