/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/run.h"

#include "base/array.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics.h>
#include <math.h>
#include <stdlib.h>

enum { GAP = 30, WINDOW = 20, LONG_WINDOW = 40, STEP = 10 }; /* frames of 5 ms */
static const double still_st = 0.03, struck_still = 0.5;     /* see voice/split.h */
static const double sung_most_db = 4, faint_db = 15;
static const double leap_st = 0.5; /* between frames: 100 semitones a second, no slide */
static const double slide_st = 4, hold_st = 1.5, swell_db = 5, hold_db = 6;

bool run_next(const track *t, run *r)
{
    size_t i = r->first + r->n, last;
    while (i < t->n && isnan(t->pitch_st[i]))
        i++;
    if (i >= t->n)
        return false;
    *r = (run){.first = i};
    size_t voiced = 0;
    for (last = i; i < t->n && i - last <= GAP; i++)
        if (!isnan(t->pitch_st[i])) {
            last = i;
            voiced++;
        }
    r->n = last + 1 - r->first;
    r->voice_s = (double)voiced * t->hop_s;
    return true;
}

static double range(const double *x, size_t n)
{
    double lowest = INFINITY, highest = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        if (isnan(x[i]))
            return (double)NAN;
        lowest = fmin(lowest, x[i]);
        highest = fmax(highest, x[i]);
    }
    return highest - lowest;
}

/* How far x[n] strays from a straight line between the means of its halves. */
static double straying(const double *x, size_t n)
{
    double a = gsl_stats_mean(x, 1, n / 2), b = gsl_stats_mean(x + n / 2, 1, n - n / 2), most = 0;
    for (size_t i = 0; i < n; i++) {
        double u = ((double)i + 0.5) / (double)n;
        most = fmax(most, fabs(x[i] - (a + (b - a) * (2 * u - 0.5))));
    }
    return most;
}

run_figures run_measure(const track *t, const run *r)
{
    size_t windows = r->n / STEP + 1, levels = 0, stills = 0, still = 0;
    double *level = xmalloc(windows, sizeof *level), *pitch = xmalloc(windows, sizeof *pitch);
    for (size_t i = r->first; i + LONG_WINDOW <= r->first + r->n; i += STEP) {
        const double *p = t->pitch_st + i, *l = t->level_db + i;
        double moved = range(p, WINDOW), wide = range(p, LONG_WINDOW);
        if (!isnan(moved)) {
            pitch[levels] = moved;
            level[levels++] = range(l, WINDOW);
        }
        if (!isnan(wide)) {
            stills++;
            still += straying(p, LONG_WINDOW) < still_st;
        }
    }
    gsl_sort(level, 1, levels);
    gsl_sort(pitch, 1, levels);
    run_figures f = {.voice_s = r->voice_s,
                     .level_db = levels ? level[levels / 2] : (double)NAN,
                     .pitch_st = levels ? pitch[levels / 2] : (double)NAN,
                     .still = stills ? (double)still / (double)stills : (double)NAN};
    free(level);
    free(pitch);
    return f;
}

bool run_may_sing(const track *t, const run *r)
{
    run_figures f = run_measure(t, r);
    /* NaN of what is too short to be measured says nothing against it. */
    return !(f.level_db >= sung_most_db) && !(f.still >= struck_still);
}

void run_widen(const track *t, run *r, size_t before)
{
    double *level = xmalloc(r->n, sizeof *level);
    size_t n = 0, first = r->first, end = r->first + r->n;
    for (size_t i = first; i < end; i++)
        if (!isnan(t->pitch_st[i]))
            level[n++] = t->level_db[i];
    gsl_sort(level, 1, n);
    double floor_db = level[n / 2] - faint_db;
    free(level);
    while (first > before && t->level_db[first - 1] > floor_db)
        first--;
    while (end < t->n && t->level_db[end] > floor_db)
        end++;
    if (first > before) /* else it begins in what comes before, or in noise */
        *r = (run){first, r->first + r->n - first, r->voice_s};
    if (end < t->n)
        r->n = end - r->first;
}

/* Range from 5 to 95 % of x[n], which is sorted. */
static double inner_range(double *x, size_t n)
{
    gsl_sort(x, 1, n);
    return gsl_stats_quantile_from_sorted_data(x, 1, n, 0.95) -
           gsl_stats_quantile_from_sorted_data(x, 1, n, 0.05);
}

/* The pitch of voiced frames with its leaps taken out, smoothed over vibrato; *leaps: how many. */
static size_t contour(const track *t, const run *r, double *pitch, size_t *leaps)
{
    double off = 0, before = (double)NAN;
    size_t n = 0, since = LONG_WINDOW;
    *leaps = 0;
    for (size_t i = r->first; i < r->first + r->n; i++) {
        if (isnan(t->pitch_st[i]))
            continue;
        double step = t->pitch_st[i] - before;
        if (fabs(step) > leap_st) {
            off += step;
            *leaps += since >= LONG_WINDOW;
            since = 0;
        }
        since++;
        before = t->pitch_st[i];
        pitch[n++] = before - off;
    }
    size_t m = 0; /* means over 0.2 s, about a period of vibrato */
    for (size_t i = 0; i + LONG_WINDOW <= n; i += STEP)
        pitch[m++] = gsl_stats_mean(pitch + i, 1, LONG_WINDOW);
    return m;
}

/* Means of the level over 0.2 s, the first and last 0.2 s of the run left out. */
static size_t level_contour(const track *t, const run *r, double *level)
{
    size_t m = 0, end = r->first + r->n;
    for (size_t i = r->first + LONG_WINDOW; i + 2 * LONG_WINDOW <= end; i += STEP)
        level[m++] = gsl_stats_mean(t->level_db + i, 1, LONG_WINDOW);
    return m;
}

/* Does the level rise from its beginning to a top and fall again? */
static bool swells(const double *level, size_t m)
{
    size_t top = 0;
    for (size_t i = 1; i < m; i++)
        if (level[i] > level[top])
            top = i;
    return m > 4 && top > m / 6 && top < m - m / 6 && level[top] - level[0] >= swell_db &&
           level[top] - level[m - 1] >= swell_db;
}

split_kind run_kind(const track *t, const run *r)
{
    double *pitch = xmalloc(r->n, sizeof *pitch), *level = xmalloc(r->n, sizeof *level);
    size_t leaps, n = contour(t, r, pitch, &leaps), m = level_contour(t, r, level);
    double moved = n ? inner_range(pitch, n) : 0;
    bool swelled = swells(level, m);
    double louder = m ? inner_range(level, m) : 0;
    free(pitch);
    free(level);
    if (moved >= slide_st)
        return SPLIT_SLIDE;
    if (moved < hold_st && swelled)
        return SPLIT_SWELL;
    return moved < hold_st && leaps <= 2 && louder < hold_db ? SPLIT_HOLD : SPLIT_OTHER;
}
