/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/cycles.h"

#include "base/array.h"
#include "base/lanes.h"
#include "base/note.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static const double most_period = 0.05, most_level_db = 2; /* off what the neighbours foretell */
static const double shortest = 0.7, longest = 1.4;         /* lags looked at, in periods */
static const double half_window = 0.5;                     /* compared on either side, in periods */
static const long pitch_reach = 3; /* frames over which a leap may be early or late */
enum { LAGS_MOST = 1024 };

typedef struct cycle {
    double at; /* samples from the beginning of the sound */
    double period, level_db;
} cycle;

typedef struct cycles {
    cycle *items;
    size_t n, room;
} cycles;

typedef struct run { /* voiced frames first..last of the sound */
    const signal *x;
    double hop_s;
    const double *pitch_st;
    size_t first, last;
} run;

/* The shortest and longest period, in samples, that the pitch has about sample `at`. */
static void periods_about(const run *r, double at, double *lo, double *hi)
{
    long frame = lround(at / r->x->rate_hz / r->hop_s);
    double lowest = (double)INFINITY, highest = -(double)INFINITY;
    for (long k = frame - pitch_reach; k <= frame + pitch_reach; k++) {
        long i = k < (long)r->first ? (long)r->first : k > (long)r->last ? (long)r->last : k;
        lowest = fmin(lowest, r->pitch_st[i]);
        highest = fmax(highest, r->pitch_st[i]);
    }
    *lo = r->x->rate_hz / note_to_hz(highest);
    *hi = r->x->rate_hz / note_to_hz(lowest);
}

static double square(float x)
{
    return (double)x * (double)x;
}

/* Normalised correlation of n samples of x with those of y + lag, for lags 0..lags - 1. */
EACH_PROCESSOR static void liken(const float *x, const float *y, size_t n, size_t lags, float *like)
{
    double power = (double)lanes_dot(y, y, n);
    float own = lanes_dot(x, x, n);
    for (size_t lag = 0; lag < lags; lag += LANES) {
        float xy[LANES], both[LANES];
        lanes_correlate(x, y + lag, n, xy);
        for (size_t k = 0; k < LANES; k++) {
            both[k] = own * (float)(power > 0 ? power : 0) + 1e-30f;
            power += square(y[lag + k + n]) - square(y[lag + k]);
        }
        for (size_t k = 0; k < LANES; k++)
            like[lag + k] = xy[k] / sqrtf(both[k]);
    }
}

/* The lag from lo to hi at which 2 w + 1 samples about a are likest to those about a + lag; between
 * samples by a parabola. */
static double likest(const signal *x, long a, long w, long lo, long hi)
{
    float like[LAGS_MOST + LANES];
    const float *at = x->x + a - w;
    size_t lags = (size_t)(hi - lo + 3), best = 1;
    assert(lags <= LAGS_MOST);
    liken(at, at + lo - 1, (size_t)(2 * w + 1), lags, like);
    for (size_t k = 2; k + 1 < lags; k++)
        best = like[k] > like[best] ? k : best;
    double before = (double)like[best - 1], there = (double)like[best];
    double after = (double)like[best + 1], bend = before - 2 * there + after;
    double off = bend < 0 ? 0.5 * (before - after) / bend : 0;
    return (double)lo - 1 + (double)best + fmin(fmax(off, -0.5), 0.5);
}

/* The mark after `at`; -1 past the end of the run. */
static double next_mark(const run *r, double at)
{
    double shorter, longer;
    periods_about(r, at, &shorter, &longer);
    long w = (long)ceil(half_window * longer), a = lround(at);
    long lo = (long)floor(shortest * shorter), hi = (long)ceil(longest * longer);
    if (a - w < 0 || a + hi + 2 + LANES + w >= (long)r->x->n)
        return -1;
    return (double)a + likest(r->x, a, w, lo, hi);
}

static double level_between(const signal *x, double from, double to)
{
    long lo = lround(from), n = lround(to) - lo;
    double power = (double)lanes_dot(x->x + lo, x->x + lo, (size_t)n);
    return 10 * log10((power + 1e-20) / (double)n);
}

/* Where the second period of the run is loudest: near the closure of the glottis, with a period of
 * sound before it. */
static double first_mark(const run *r)
{
    double rate = r->x->rate_hz, period = rate / note_to_hz(r->pitch_st[r->first]);
    double from = (double)r->first * r->hop_s * rate + period;
    long best = lround(from);
    for (long i = best; i < (long)(from + period) && i < (long)r->x->n; i++)
        if (fabsf(r->x->x[i]) > fabsf(r->x->x[best]))
            best = i;
    return (double)best;
}

static void mark(const run *r, cycles *c)
{
    double end = (double)r->last * r->hop_s * r->x->rate_hz;
    c->n = 0;
    for (double at = first_mark(r), next; at < end; at = next) {
        next = next_mark(r, at);
        if (next < 0)
            return;
        array_reserve((void **)&c->items, &c->room, c->n + 1, sizeof *c->items);
        c->items[c->n++] = (cycle){at, log(next - at), level_between(r->x, at, next)};
    }
}

/* How far y[2] lies from the nearest of three foretellings by its neighbours y[0], y[1], y[3] and
 * y[4]. */
static double off(const double y[5])
{
    double mean = fabs(y[2] - 0.5 * (y[1] + y[3]));
    double before = fabs(y[2] - (2 * y[1] - y[0])), after = fabs(y[2] - (2 * y[3] - y[4]));
    return fmin(mean, fmin(before, after));
}

static bool is_irregular(const cycle *c)
{
    double period[5], level[5];
    for (int k = 0; k < 5; k++) {
        period[k] = c[k - 2].period;
        level[k] = c[k - 2].level_db;
    }
    return off(period) > most_period || off(level) > most_level_db;
}

void cycles_measure(const signal *x, double hop_s, size_t n, const double *pitch_st,
                    unsigned char *irregular)
{
    cycles c = {.n = 0};
    memset(irregular, 0, n);
    for (size_t i = 0, end; i < n; i = end) {
        end = i + 1;
        if (isnan(pitch_st[i]))
            continue;
        while (end < n && !isnan(pitch_st[end]))
            end++;
        run r = {x, hop_s, pitch_st, i, end - 1};
        mark(&r, &c);
        for (size_t k = 2; k + 2 < c.n; k++) {
            size_t f = (size_t)lround(c.items[k].at / x->rate_hz / hop_s);
            if (is_irregular(&c.items[k]) && f < n && irregular[f] < CYCLES_MOST)
                irregular[f]++;
        }
    }
    free(c.items);
}
