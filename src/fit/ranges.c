/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/ranges.h"

#include "base/array.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>

enum {
    LOW_ST = 12,
    HIGH_ST = 120,
    LOUD_DB = 160, /* levels lie within +-160 dB, whatever their reference */
    CELLS_ACROSS = 2 * LOUD_DB / ZONE_DB + 1,
    CELLS_UP = (HIGH_ST - LOW_ST) / ZONE_ST + 1,
    CELLS = CELLS_ACROSS * CELLS_UP,
    FEWEST_TAKES = 3
};

static const double LEAST_S = 0.05; /* shorter visits are mostly the change itself */
static const double FLOOR = 0.05, CEILING = 0.95;

static double frame_seconds(const path *p)
{
    return p->n > 1 ? (p->time_s[p->n - 1] - p->time_s[0]) / (double)(p->n - 1) : 0;
}

static bool counts(const path *p, size_t k)
{
    return (p->reg[k] == 1 || p->reg[k] == 2) && p->pitch_st[k] >= LOW_ST &&
           p->pitch_st[k] <= HIGH_ST && fabs(p->level_db[k]) <= LOUD_DB;
}

/* Seconds by cell and register, [CELLS][2], times `sign` added. */
static void add_take(const path *p, double sign, double *seconds)
{
    double frame_s = frame_seconds(p);
    for (size_t k = 0; k < p->n; k++) {
        if (!counts(p, k))
            continue;
        size_t up = (size_t)lround((p->pitch_st[k] - LOW_ST) / ZONE_ST);
        size_t across = (size_t)lround((p->level_db[k] + LOUD_DB) / ZONE_DB);
        seconds[2 * (up * CELLS_ACROSS + across) + p->reg[k] - 1] += sign * frame_s;
    }
}

static double area(const double *seconds)
{
    size_t both = 0;
    for (size_t i = 0; i < CELLS; i++)
        both += seconds[2 * i] >= LEAST_S - 1e-9 && seconds[2 * i + 1] >= LEAST_S - 1e-9;
    return (double)both * ZONE_ST * ZONE_DB;
}

static bool any_counts(const path *p)
{
    for (size_t k = 0; k < p->n; k++)
        if (counts(p, k))
            return true;
    return false;
}

figure ranges_zone(const path *paths, size_t n)
{
    figure f = {(double)NAN, (double)NAN, (double)NAN};
    double *seconds = array_filled(2 * CELLS, 0), *without = xmalloc(n, sizeof *without);
    size_t m = 0;
    for (size_t i = 0; i < n; i++)
        add_take(&paths[i], 1, seconds);
    if (n)
        f.estimate = area(seconds);
    for (size_t i = 0; i < n; i++) {
        if (!any_counts(&paths[i]))
            continue;
        add_take(&paths[i], -1, seconds);
        without[m++] = area(seconds);
        add_take(&paths[i], 1, seconds);
    }
    if (m == 0)
        f.estimate = (double)NAN;
    if (m >= FEWEST_TAKES) {
        double takes = (double)m;
        double half = gsl_cdf_tdist_Pinv(0.975, takes - 1) * (takes - 1) / sqrt(takes) *
                      gsl_stats_sd(without, 1, m);
        f.lo95 = fmax(f.estimate - half, 0);
        f.hi95 = f.estimate + half;
    }
    free(seconds);
    free(without);
    return f;
}

/* The levels at one pitch in one register. */
typedef struct visit {
    double level_db;
    size_t take;
} visit;
typedef struct visits {
    size_t n, room, n_takes;
    visit *items; /* in order of take */
    double seconds;
} visits;

static void visits_add(visits *v, const path *p, size_t take, int reg, double st)
{
    size_t before = v->n;
    double frame_s = frame_seconds(p);
    for (size_t k = 0; k < p->n; k++) {
        if (!counts(p, k) || p->reg[k] != reg || !(p->pitch_st[k] >= st - 0.5) ||
            !(p->pitch_st[k] < st + 0.5))
            continue;
        array_reserve((void **)&v->items, &v->room, v->n + 1, sizeof *v->items);
        v->items[v->n++] = (visit){p->level_db[k], take};
        v->seconds += frame_s;
    }
    v->n_takes += v->n > before;
}

/* Standard error of the share of frames up to `level`, takes as clusters: the ratio estimator's. */
static double share_error(const visits *v, double level, double share)
{
    double sum = 0;
    for (size_t i = 0, j; i < v->n; i = j) {
        double below = 0;
        for (j = i; j < v->n && v->items[j].take == v->items[i].take; j++)
            below += v->items[j].level_db <= level;
        double off = below - share * (double)(j - i);
        sum += off * off;
    }
    double takes = (double)v->n_takes;
    return sqrt(takes / (takes - 1) * sum) / (double)v->n;
}

static figure percentile(const visits *v, const double *sorted, double part)
{
    figure f = {gsl_stats_quantile_from_sorted_data(sorted, 1, v->n, part), (double)NAN,
                (double)NAN};
    if (v->n_takes < FEWEST_TAKES)
        return f;
    double half =
        gsl_cdf_tdist_Pinv(0.975, (double)v->n_takes - 1) * share_error(v, f.estimate, part);
    f.lo95 = gsl_stats_quantile_from_sorted_data(sorted, 1, v->n, fmax(part - half, 0));
    f.hi95 = gsl_stats_quantile_from_sorted_data(sorted, 1, v->n, fmin(part + half, 1));
    return f;
}

static bool range_at(const path *paths, size_t n, int reg, double st, range *out)
{
    visits v = {0};
    for (size_t i = 0; i < n; i++)
        visits_add(&v, &paths[i], i, reg, st);
    bool sung = v.seconds >= LEAST_S - 1e-9;
    if (sung) {
        double *sorted = xmalloc(v.n, sizeof *sorted);
        for (size_t i = 0; i < v.n; i++)
            sorted[i] = v.items[i].level_db;
        gsl_sort(sorted, 1, v.n);
        *out = (range){.reg = reg, .pitch_st = st, .seconds = v.seconds, .takes = v.n_takes};
        out->floor_db = percentile(&v, sorted, FLOOR);
        out->ceiling_db = percentile(&v, sorted, CEILING);
        free(sorted);
    }
    free(v.items);
    return sung;
}

/* Which notes there are frames of, by register: years of takes are looked through for no others. */
typedef struct notes {
    bool sung[2][HIGH_ST + 2];
} notes;

static notes notes_of(const path *paths, size_t n)
{
    notes x = {0};
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < paths[i].n; k++)
            if (counts(&paths[i], k))
                x.sung[paths[i].reg[k] - 1][(int)floor(paths[i].pitch_st[k] + 0.5)] = true;
    return x;
}

size_t ranges_of(const path *paths, size_t n, range **out)
{
    size_t count = 0, room = 0;
    const notes there = notes_of(paths, n);
    *out = NULL;
    for (int reg = 1; reg <= 2; reg++)
        for (int st = LOW_ST; st <= HIGH_ST; st++) {
            range r;
            if (!there.sung[reg - 1][st] || !range_at(paths, n, reg, st, &r))
                continue;
            array_reserve((void **)out, &room, count + 1, sizeof **out);
            (*out)[count++] = r;
        }
    return count;
}
