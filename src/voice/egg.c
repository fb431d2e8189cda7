/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/egg.h"

#include "base/array.h"
#include "voice/egg_cycles.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static const double near_period = 0.1;  /* how far the EGG's period may be from the microphone's */
static const double prefer_half = 0.05; /* by which a half period may be less clear, */
static const double prefer_double = 0.15; /* and by which a double one must be clearer */
static const double least_half = 0.5;
/* Clarity from which on periods are not averaged; up to which they are. */
static const double clear = 0.995, noisy = 0.95;
static const double averaged_s = 0.015; /* on either side */
enum {
    CHUNK = 400, /* frames measured at a time */
    MARGIN = 20, /* looked at beyond */
    BESIDE = 3,  /* beside voice, where cycles may lie, too */
    AVERAGED_LEAST = 2,
    AVERAGED_MOST = 8 /* periods on either side */
};

typedef struct view { /* frames first..last - 1 of the sound and what is about them */
    size_t first, last;
    double hop;  /* samples */
    long origin; /* sample of the sound at x[0] */
    size_t n;
    double *x;      /* [n] contact upwards, then with the baseline taken out */
    double *period; /* [n] samples; 0 far from voice */
    float *noise;   /* [n] 0..1: by how much periods are averaged */
} view;

static long place(const view *v, size_t frame)
{
    return lround((double)frame * v->hop) - v->origin;
}

/* Normalised correlation of two stretches `lag` apart about sample `at`, each with its mean taken
 * out; 0 beyond the ends. */
static double likeness(const view *v, long at, long lag, long window)
{
    long a = at - (lag + window) / 2, b = a + lag;
    double sa = 0, sb = 0, aa = 0, bb = 0, ab = 0, m = (double)window;
    if (a < 0 || b + window > (long)v->n)
        return 0;
    for (long i = 0; i < window; i++) {
        double x = v->x[a + i], y = v->x[b + i];
        sa += x;
        sb += y;
        aa += x * x;
        bb += y * y;
        ab += x * y;
    }
    double power = (aa - sa * sa / m) * (bb - sb * sb / m);
    return power > 0 ? (ab - sa * sb / m) / sqrt(power) : 0;
}

/* The best lag near t samples, to a part of one, and how clear it is. */
static double best_lag(const view *v, long at, double t, double *clarity)
{
    long lo = (long)floor(t * (1 - near_period)), hi = (long)ceil(t * (1 + near_period));
    long window = (long)fmax(1.5 * t, v->hop);
    double best = t, before = 0, last = 0, next = 0;
    bool rising = false;
    *clarity = -1;
    for (long lag = lo > 2 ? lo : 2; lag <= hi; lag++) {
        double r = likeness(v, at, lag, window);
        if (r > *clarity) {
            *clarity = r;
            best = (double)lag;
            before = last;
            rising = true;
        } else if (rising) {
            next = r;
            rising = false;
        }
        last = r;
    }
    double bend = before - 2 * *clarity + next;
    bool inside = best > (double)lo && !rising && before != 0 && bend < 0;
    return inside ? best + fmin(fmax(0.5 * (before - next) / bend, -0.5), 0.5) : best;
}

/* The EGG's period about a sample: the microphone's t, its half or its double. */
static double period_at(const view *v, long at, double t, double *clarity)
{
    double other, one = best_lag(v, at, t, clarity), half = best_lag(v, at, t / 2, &other);
    /* Held against each other over longer stretches: part of a cycle is now and then like another
     * part of it. */
    if (other > least_half && other > *clarity - prefer_half &&
        likeness(v, at, lround(half), lround(2 * t)) > least_half) {
        *clarity = other;
        return half;
    }
    double whole = likeness(v, at, lround(one), lround(3 * t));
    if (whole > 1 - prefer_double)
        return one;
    double twice = best_lag(v, at, 2 * t, &other);
    if (other <= whole + prefer_double)
        return one;
    *clarity = other;
    return twice;
}

static void set_period(view *v, long frame, double t, double clarity)
{
    float noise = (float)fmin(fmax((clear - clarity) / (clear - noisy), 0), 1);
    long from = lround(((double)frame - 0.5) * v->hop) - v->origin;
    long to = lround(((double)frame + 0.5) * v->hop) - v->origin;
    for (long i = from > 0 ? from : 0; i < to && i < (long)v->n; i++)
        if (!(v->period[i] > 0)) {
            v->period[i] = t;
            v->noise[i] = noise;
        }
}

/* Periods of all samples in and beside voice; the clarity of frames first..last - 1. */
static void find_periods(view *v, double rate_hz, const double *hz, size_t n_frames, egg_frame *out)
{
    size_t from = v->first > MARGIN ? v->first - MARGIN : 0;
    size_t to = v->last + MARGIN < n_frames ? v->last + MARGIN : n_frames;
    double *t = array_filled(to - from, (double)NAN), *clarity = array_filled(to - from, 0);
    for (size_t f = from; f < to; f++) {
        if (isnan(hz[f]))
            continue;
        size_t k = f - from;
        t[k] = period_at(v, place(v, f), rate_hz / hz[f], &clarity[k]);
        if (f >= v->first && f < v->last)
            out[f].clarity = (float)fmax(clarity[k], 0);
        set_period(v, (long)f, t[k], clarity[k]);
    }
    for (size_t f = from; f < to; f++)
        for (long k = 1; k <= BESIDE && !isnan(hz[f]); k++) {
            set_period(v, (long)f - k, t[f - from], clarity[f - from]);
            set_period(v, (long)f + k, t[f - from], clarity[f - from]);
        }
    free(t);
    free(clarity);
}

/* The mean of the period about each sample taken out: what the larynx does, not the cycle. */
static void take_out_baseline(view *v)
{
    double *sum = xmalloc(v->n + 1, sizeof *sum);
    sum[0] = 0;
    for (size_t i = 0; i < v->n; i++)
        sum[i + 1] = sum[i] + v->x[i];
    for (size_t i = 0; i < v->n; i++) {
        size_t half = (size_t)lround(v->period[i] / 2);
        v->x[i] -= array_mean_about(sum, v->n, i, half);
    }
    free(sum);
}

static double sample_at(const view *v, double at)
{
    if (at < 0 || at >= (double)(v->n - 1))
        return (double)NAN;
    size_t i = (size_t)at;
    return v->x[i] + (at - (double)i) * (v->x[i + 1] - v->x[i]);
}

/* The sum of the samples whole periods away from sample i, the nearer ones counting more; to it
 * comes what they count. `sign`: forwards or backwards. */
static double periods_away(const view *v, size_t i, double most, int sign, double *weights)
{
    double sum = 0, at = (double)i;
    for (double k = 1; k <= most; k++) {
        size_t near = (size_t)at;
        double t = near < v->n && at >= 0 ? v->period[near] : 0, w = 1 - k / (most + 1);
        at += sign * t;
        double x = t > 0 ? sample_at(v, at) : (double)NAN;
        if (isnan(x))
            break;
        sum += w * x;
        *weights += w;
    }
    return sum;
}

/* Where noise makes a period unlike the next, each sample is averaged with those whole periods
 * before and after it, up to 15 ms away but two at least. */
static void average_periods(view *v, double rate_hz)
{
    double *mean = xmalloc(v->n, sizeof *mean);
    for (size_t i = 0; i < v->n; i++) {
        mean[i] = v->x[i];
        if (!(v->noise[i] > 0))
            continue;
        double periods = floor(averaged_s * rate_hz / v->period[i]), weights = 1;
        periods = fmin(fmax(periods, AVERAGED_LEAST), AVERAGED_MOST);
        double sum = v->x[i] + periods_away(v, i, periods, 1, &weights);
        sum += periods_away(v, i, periods, -1, &weights);
        mean[i] += (double)v->noise[i] * (sum / weights - v->x[i]);
    }
    memcpy(v->x, mean, v->n * sizeof *mean);
    free(mean);
}

static egg_cycles find_cycles(const view *v)
{
    egg_cycles all = {.n = 0};
    for (size_t i = 0, end; i < v->n; i = end) {
        bool voice = v->period[i] > 0;
        for (end = i + 1; end < v->n && (v->period[end] > 0) == voice; end++)
            ;
        if (voice)
            egg_cycles_find(v->x, v->n, v->period, i, end, &all);
    }
    return all;
}

/* A frame is the mean of the cycles that lie in its hop. */
static void fill_frame(const view *v, const egg_cycles *all, size_t *next, size_t frame,
                       egg_frame *out)
{
    double from = (double)place(v, frame) - v->hop / 2, to = from + v->hop, n = 0, n_peaks = 0;
    double quotient = 0, peaks = 0, closing = 0, opening = 0, power = 0;
    while (*next < all->n && all->items[*next].end <= from)
        ++*next;
    for (size_t k = *next; k < all->n && all->items[k].start < to; k++) {
        const egg_cycle *c = &all->items[k];
        quotient += c->quotient;
        closing += c->closing;
        opening += c->opening;
        power += c->amplitude * c->amplitude;
        n++;
        if (!isnan(c->peaks_quotient)) {
            peaks += c->peaks_quotient;
            n_peaks++;
        }
    }
    if (n > 0) {
        out->quotient = (float)(quotient / n);
        out->closing = (float)(closing / n);
        out->opening = (float)(opening / n);
        out->level_db = (float)(10 * log10(power / n / 4));
    }
    if (n_peaks > 0)
        out->peaks_quotient = (float)(peaks / n_peaks);
}

static void measure(view *v, bool told, double rate_hz, const double *hz, size_t n_frames,
                    egg_frame *out)
{
    find_periods(v, rate_hz, hz, n_frames, out);
    if (!told)
        return;
    take_out_baseline(v);
    average_periods(v, rate_hz);
    egg_cycles all = find_cycles(v);
    size_t next = 0;
    for (size_t f = v->first; f < v->last; f++)
        if (!isnan(hz[f]))
            fill_frame(v, &all, &next, f, &out[f]);
    egg_cycles_clear(&all);
}

void egg_measure(const float *x, size_t n, double rate_hz, egg_way way, double hop_s,
                 const double *hz, size_t n_frames, egg_frame *out)
{
    for (size_t f = 0; f < n_frames; f++)
        out[f] = (egg_frame){NAN, NAN, NAN, NAN, NAN, 0};
    view v = {.hop = hop_s * rate_hz};
    for (; v.first < n_frames; v.first = v.last) {
        v.last = v.first + CHUNK < n_frames ? v.first + CHUNK : n_frames;
        long begin = lround(((double)v.first - MARGIN) * v.hop);
        long end = lround(((double)v.last + MARGIN) * v.hop);
        v.origin = begin > 0 ? begin : 0;
        end = end < (long)n ? end : (long)n;
        if (end <= v.origin)
            break;
        v.n = (size_t)(end - v.origin);
        v.x = xmalloc(v.n, sizeof *v.x);
        v.period = xcalloc(v.n, sizeof *v.period);
        v.noise = xcalloc(v.n, sizeof *v.noise);
        for (size_t i = 0; i < v.n; i++) {
            double now = (double)x[(size_t)v.origin + i];
            v.x[i] = way == EGG_DOWN ? -now : now;
        }
        measure(&v, way != EGG_UNKNOWN, rate_hz, hz, n_frames, out);
        free(v.x);
        free(v.period);
        free(v.noise);
    }
}
