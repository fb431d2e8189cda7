/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/echo.h"

#include "base/array.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics.h>
#include <math.h>
#include <stdlib.h>

enum { BEFORE = 600, AFTER = 200 }; /* frames of 5 ms that are looked at on either side of an end */
static const double from_db = 5, near_db = 15, far_db = 25, clear_db = 5, level_db = 3;
static const double brief_s = 0.06, sudden_db = 4;
static const double beat_s = 0.1; /* the room's tones beat against each other while they die away */

static size_t frames(const track *t, double s)
{
    return (size_t)lround(s / t->hop_s);
}

static double mean_level(const track *t, size_t from, size_t to)
{
    double sum = 0;
    for (size_t i = from; i < to; i++)
        sum += t->level_db[i] / (double)(to - from);
    return sum;
}

/* Is the level that low from frame i on, and not for a beat alone? */
static bool stays_under(const track *t, size_t i, double db)
{
    for (size_t k = i; k < t->n && k <= i + frames(t, beat_s); k++)
        if (t->level_db[k] > db)
            return false;
    return true;
}

/* Does the level fall within frames from..to as fast as when the direct sound stops? */
static bool stops(const track *t, size_t from, size_t to)
{
    size_t brief = frames(t, brief_s);
    for (size_t k = from; k <= to && k + brief < t->n; k++)
        if (t->level_db[k] - t->level_db[k + brief] >= sudden_db)
            return true;
    return false;
}

/* The time for 60 dB of the ending before frame `end`; NaN when it does not count. */
static double ending(const track *t, size_t end)
{
    size_t window = frames(t, 0.1), reach = frames(t, 0.3), look = frames(t, 2), i = end;
    double top = -(double)INFINITY;
    for (size_t k = end > look ? end - look : 0; k < end; k++)
        top = fmax(top, t->level_db[k]);
    while (i > 0 && t->level_db[i] < top - from_db)
        i--;
    if (i < reach + window)
        return (double)NAN;
    double late = mean_level(t, i - window, i),
           early = mean_level(t, i - reach, i - reach + window);
    if (fabs(late - early) > level_db)
        return (double)NAN;
    size_t start = i, n = t->n, near = 0, far = 0;
    double lowest = late;
    while (start + 1 < n && t->level_db[start] >= late - from_db)
        start++;
    if (!stops(t, i - window, start))
        return (double)NAN;
    for (i = start; i < n && !(i > end && !isnan(t->pitch_st[i])); i++) {
        if (!near && stays_under(t, i, late - near_db))
            near = i;
        if (!far && stays_under(t, i, late - far_db))
            far = i;
        lowest = fmin(lowest, t->level_db[i]);
    }
    if (far && lowest <= late - far_db - clear_db)
        return 60 / (far_db - from_db) * (double)(far - start) * t->hop_s;
    if (near && lowest <= late - near_db - clear_db)
        return 60 / (near_db - from_db) * (double)(near - start) * t->hop_s;
    return (double)NAN;
}

bool echo_measure(const track_store *s, size_t take, double *decay_s, size_t *endings, err *e)
{
    size_t n, frames_in_all = track_store_frames(s, take), found = 0;
    const stretch *all = track_store_stretches(s, &n);
    double *decays = xmalloc(n, sizeof *decays);
    bool fine = true;
    for (size_t i = 0; i < n && fine; i++) {
        if (all[i].take != take)
            continue;
        track *t;
        size_t end = all[i].first + all[i].n, from = end > BEFORE ? end - BEFORE : 0;
        size_t to = end + AFTER < frames_in_all ? end + AFTER : frames_in_all;
        fine = track_store_read(s, take, from, to - from, &t, e);
        if (!fine)
            break;
        size_t last = end - from;
        while (last > 0 && (last >= t->n || isnan(t->pitch_st[last])))
            last--;
        double decay = ending(t, last);
        if (!isnan(decay))
            decays[found++] = decay;
        track_free(t);
    }
    gsl_sort(decays, 1, found);
    *decay_s = found ? gsl_stats_quantile_from_sorted_data(decays, 1, found, 0.25) : (double)NAN;
    *endings = found;
    free(decays);
    return fine;
}
