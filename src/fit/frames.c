/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/frames.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_sort.h>
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

/* What is so far below the take's loud level is noise in which a tracker finds pitch. */
static void drop_whispers(frames *f, double range_db)
{
    if (!f->n)
        return;
    double *level = xmalloc(f->n, sizeof *level);
    bool *drop = xcalloc(f->n, sizeof *drop);
    for (size_t i = 0; i < f->n; i++)
        level[i] = f->items[i].level_db;
    gsl_sort(level, 1, f->n);
    double loud = gsl_stats_quantile_from_sorted_data(level, 1, f->n, 0.9);
    for (size_t i = 0; i < f->n; i++)
        drop[i] = f->items[i].level_db < loud - range_db;
    compact(f, drop);
    free(drop);
    free(level);
}

/* Median level of the frames that lie edge_s to 2 edge_s inside frame `edge`, towards `end`
 * (excluded), in steps of `step`; NaN when there are none. */
static double level_inside(const frames *f, size_t edge, size_t end, int step, double edge_s)
{
    double level[256];
    size_t n = 0;
    for (size_t i = edge; i != end && n < 256; i += (size_t)step) {
        double inside = fabs(f->items[i].time_s - f->items[edge].time_s);
        if (inside > 2 * edge_s)
            break;
        if (inside >= edge_s)
            level[n++] = f->items[i].level_db;
    }
    return n ? gsl_stats_median(level, 1, n) : (double)NAN;
}

/* From frame `edge` of a voiced stretch inwards, to `end` (excluded), in steps of `step` (+-1):
 * drops frames as long as they are soft, and all outside a cliff and soft just inside of it. */
static void mark_edge(const frames *f, size_t edge, size_t end, int step, const attempt_settings *s,
                      bool *drop)
{
    size_t inner = edge;
    bool soft = true;
    for (size_t i = edge; i != end; i += (size_t)step) {
        double fall = level_inside(f, i, end, step, s->edge_s) - f->items[i].level_db;
        if (fabs(f->items[i].time_s - f->items[edge].time_s) > s->release_s)
            break;
        soft = (soft || fall > s->cliff_db) && fall > s->edge_db;
        if (soft)
            inner = i + (size_t)step;
    }
    for (size_t i = edge; i != inner; i += (size_t)step)
        drop[i] = true;
}

/* Of stretches parted by silences longer than `hole`, s. */
static void drop_edges(frames *f, double hole, const attempt_settings *s)
{
    bool *drop = xcalloc(f->n, sizeof *drop);
    for (size_t from = 0, to; from < f->n; from = to) {
        for (to = from + 1; to < f->n; to++)
            if (f->items[to].time_s - f->items[to - 1].time_s > hole)
                break;
        mark_edge(f, from, to, 1, s, drop);
        mark_edge(f, to - 1, from - 1, -1, s, drop);
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
    drop_whispers(&f, s->range_db);
    drop_edges(&f, s->gap_s, s);
    drop_edges(&f, fmax(2.5 * f.step_s, 0.5 * s->edge_s), s);
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
