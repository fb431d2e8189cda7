/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/egg.h"

#include "base/array.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

static const double window_s = 0.04;
static const double coarse_hz = 4000; /* the period is first looked for at about this rate */
static const double shortest_s = 1.0 / 1000, longest_s = 1.0 / 65;
static const double periodic = 0.5;  /* correlation from which on a stretch has a period */
static const double nearly = 0.9;    /* of the best: a shorter period that explains as much */
static const double bell_s = 0.0002; /* of the slope: noise above 1 kHz is not to be its peaks */
static const double steepest = 1.5, fullest = 1; /* skewness counts up to this: clicks */
static const double fullness = 0.5;              /* beside the slope's */
static const double least_mean = 0.12;
/* Noise alone scatters about 0; windows in a row say nearly the same. */
static const double least_errors = 4, same_windows = 4;
static const double softest_db = -120, loudness_db = 3;
static const double loud_share = 0.1; /* of the stretches; those this much softer count, too: */
static const int beneath = 5;         /* loudnesses */

static double skewness(const double *x, size_t n, double most)
{
    double mean = 0, second = 0, third = 0;
    for (size_t i = 0; i < n; i++)
        mean += x[i] / (double)n;
    for (size_t i = 0; i < n; i++) {
        double off = x[i] - mean;
        second += off * off / (double)n;
        third += off * off * off / (double)n;
    }
    double g = second > 0 ? third / (second * sqrt(second)) : 0;
    return fmin(fmax(g, -most), most);
}

/* The parabola through the window taken out: the larynx moves slowly. */
static void detrend(double *x, size_t n)
{
    double mid = ((double)n - 1) / 2, size = (double)n, square = (size * size - 1) / 12;
    double sum[3] = {0, 0, 0}, squares[3] = {0, 0, 0};
    for (size_t i = 0; i < n; i++) {
        double at = (double)i - mid, basis[3] = {1, at, at * at - square};
        for (int k = 0; k < 3; k++) {
            sum[k] += x[i] * basis[k];
            squares[k] += basis[k] * basis[k];
        }
    }
    for (size_t i = 0; i < n; i++) {
        double at = (double)i - mid;
        x[i] -= sum[0] / squares[0] + sum[1] / squares[1] * at +
                sum[2] / squares[2] * (at * at - square);
    }
}

static double likeness(const double *x, size_t n, size_t lag)
{
    double aa = 0, bb = 0, ab = 0;
    for (size_t i = 0; i + lag < n; i++) {
        aa += x[i] * x[i];
        bb += x[i + lag] * x[i + lag];
        ab += x[i] * x[i + lag];
    }
    return aa > 0 && bb > 0 ? ab / sqrt(aa * bb) : 0;
}

/* The best lag from lo to hi, to a part of one. */
static double best_lag(const double *x, size_t n, size_t lo, size_t hi, double *r)
{
    size_t best = lo;
    *r = -1;
    for (size_t lag = lo; lag <= hi && lag < n; lag++) {
        double now = likeness(x, n, lag);
        if (now > *r) {
            *r = now;
            best = lag;
        }
    }
    if (best == lo || best == hi)
        return (double)best;
    double a = likeness(x, n, best - 1), b = likeness(x, n, best + 1), bend = a - 2 * *r + b;
    return (double)best + (bend < 0 ? fmin(fmax(0.5 * (a - b) / bend, -0.5), 0.5) : 0);
}

/* The shortest of the periods that explain the window, in samples of its averages by `step`; 0:
 * none does. */
static size_t coarse_period(const double *x, size_t n, size_t step, double rate_hz)
{
    size_t few = n / step, lo = (size_t)fmax(shortest_s * rate_hz / (double)step, 2);
    size_t hi = (size_t)(longest_s * rate_hz / (double)step), best = 0;
    double *mean = array_filled(few, 0), *r = array_filled(hi + 2, 0), most = periodic;
    for (size_t i = 0; i < few * step; i++)
        mean[i / step] += x[i];
    for (size_t lag = lo - 1; lag <= hi + 1; lag++)
        r[lag] = likeness(mean, few, lag);
    for (size_t lag = lo; lag <= hi; lag++)
        most = fmax(most, r[lag]);
    for (size_t lag = lo; lag <= hi && !best; lag++)
        if (r[lag] >= fmax(nearly * most, periodic) && r[lag] >= r[lag - 1] && r[lag] >= r[lag + 1])
            best = lag;
    free(mean);
    free(r);
    return best;
}

/* Samples: found near the coarse one, then from several of them; 0: none. */
static double period_of(const double *x, size_t n, double rate_hz)
{
    size_t step = (size_t)fmax(rate_hz / coarse_hz, 1), coarse = coarse_period(x, n, step, rate_hz);
    double r;
    if (!coarse)
        return 0;
    double one = best_lag(x, n, (coarse - 1) * step, (coarse + 1) * step, &r);
    double several = fmax(floor(0.5 * (double)n / one), 1), reach = 1 + several / 2;
    size_t lo = (size_t)fmax(several * one - reach, 1), hi = (size_t)(several * one + reach);
    double many = best_lag(x, n, lo, hi, &r);
    return r >= periodic ? many / several : 0;
}

/* The mean of the window's whole periods, mean[n]. */
static void fold(const double *x, size_t n, double period, double *mean, size_t points)
{
    size_t periods = (size_t)((double)(n - 1) / period);
    for (size_t i = 0; i < points; i++) {
        mean[i] = 0;
        for (size_t k = 0; k < periods; k++) {
            double at = ((double)k + (double)i / (double)points) * period;
            size_t j = (size_t)at;
            mean[i] += (x[j] + (at - (double)j) * (x[j + 1] - x[j])) / (double)periods;
        }
    }
}

/* Of a cycle that goes on as it began. */
static void slope_of(const double *x, size_t n, double sd, double *d)
{
    long reach = (long)ceil(3 * sd), all = (long)n;
    for (long i = 0; i < all; i++) {
        d[i] = 0;
        for (long k = 1; k <= reach; k++)
            d[i] += (double)k * exp(-0.5 * (double)(k * k) / (sd * sd)) *
                    (x[(i + k) % all] - x[((i - k) % all + all) % all]);
    }
}

static void add_window(egg_shape *s, double *part, size_t n, double rate_hz)
{
    detrend(part, n);
    double period = period_of(part, n, rate_hz);
    if (!(period >= 4) || period > (double)n / 2)
        return;
    size_t points = (size_t)lround(period);
    double *mean = xmalloc(points, sizeof *mean), *d = xmalloc(points, sizeof *d), power = 0;
    fold(part, n, period, mean, points);
    for (size_t i = 0; i < points; i++)
        power += mean[i] * mean[i] / (double)points;
    slope_of(mean, points, fmax(bell_s * rate_hz, 0.5), d);
    double shape = skewness(d, points, steepest) + fullness * skewness(mean, points, fullest);
    double loudness = (10 * log10(power) - softest_db) / loudness_db;
    if (power > 0) {
        egg_shapes *at = &s->at[(size_t)fmin(fmax(loudness, 0), EGG_LOUDNESSES - 1)];
        at->sum += shape;
        at->sum_sq += shape * shape;
        at->n++;
    }
    free(mean);
    free(d);
}

void egg_shape_add(egg_shape *s, const float *x, size_t n, double rate_hz)
{
    size_t window = (size_t)(window_s * rate_hz);
    double *part = xmalloc(window, sizeof *part);
    for (size_t at = 0; at + window <= n; at += window) {
        for (size_t i = 0; i < window; i++)
            part[i] = (double)x[at + i];
        add_window(s, part, window, rate_hz);
    }
    free(part);
}

/* The loud stretches together. */
static egg_shapes loud_ones(const egg_shape *s)
{
    egg_shapes all = {0, 0, 0};
    size_t n = 0, louder = 0;
    int loud = EGG_LOUDNESSES - 1;
    for (int k = 0; k < EGG_LOUDNESSES; k++)
        n += s->at[k].n;
    for (; loud > 0; loud--) {
        louder += s->at[loud].n;
        if (louder && (double)louder >= loud_share * (double)n)
            break;
    }
    for (int k = loud > beneath ? loud - beneath : 0; k < EGG_LOUDNESSES; k++) {
        all.sum += s->at[k].sum;
        all.sum_sq += s->at[k].sum_sq;
        all.n += s->at[k].n;
    }
    return all;
}

egg_way egg_shape_way(const egg_shape *s)
{
    egg_shapes loud = loud_ones(s);
    double n = (double)loud.n;
    if (loud.n < 2)
        return EGG_UNKNOWN;
    double mean = loud.sum / n, spread = sqrt(fmax(loud.sum_sq / n - mean * mean, 0));
    if (fabs(mean) < least_mean || fabs(mean) < least_errors * spread * sqrt(same_windows / n))
        return EGG_UNKNOWN;
    return mean > 0 ? EGG_UP : EGG_DOWN;
}

egg_way egg_shape_guess(const egg_shape *s)
{
    egg_way way = egg_shape_way(s);
    return way ? way : loud_ones(s).sum < 0 ? EGG_DOWN : EGG_UP;
}
