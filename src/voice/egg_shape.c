/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/egg.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

static const double window_s = 0.04;
static const double bell_s = 0.0002; /* of the slope: noise above 1 kHz is not to be its peaks */
static const double steepest = 1.5, fullest = 1; /* skewness counts up to this: clicks */
static const double fullness = 0.5;              /* beside the slope's */
static const double least_mean = 0.12;
/* Noise alone scatters about 0; windows in a row say nearly the same. */
static const double least_errors = 4, same_windows = 4;

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

/* The straight line through the window taken out: the larynx moves slowly. */
static void detrend(double *x, size_t n)
{
    double mid = ((double)n - 1) / 2, sum = 0, moved = 0, squares = 0;
    for (size_t i = 0; i < n; i++) {
        sum += x[i];
        moved += x[i] * ((double)i - mid);
        squares += ((double)i - mid) * ((double)i - mid);
    }
    for (size_t i = 0; i < n; i++)
        x[i] -= sum / (double)n + moved / squares * ((double)i - mid);
}

static void slope_of(const double *x, size_t n, double sd, double *d)
{
    long reach = (long)ceil(3 * sd), end = (long)n - 1;
    for (long i = 0; i <= end; i++) {
        d[i] = 0;
        for (long k = 1; k <= reach; k++) {
            long a = i - k < 0 ? 0 : i - k, b = i + k > end ? end : i + k;
            d[i] += (double)k * exp(-0.5 * (double)(k * k) / (sd * sd)) * (x[b] - x[a]);
        }
    }
}

void egg_shape_add(egg_shape *s, const float *x, size_t n, double rate_hz)
{
    size_t window = (size_t)(window_s * rate_hz);
    double *part = xmalloc(window, sizeof *part), *d = xmalloc(window, sizeof *d);
    for (size_t at = 0; at + window <= n; at += window) {
        for (size_t i = 0; i < window; i++)
            part[i] = (double)x[at + i];
        detrend(part, window);
        slope_of(part, window, fmax(bell_s * rate_hz, 0.5), d);
        double shape = skewness(d, window, steepest) + fullness * skewness(part, window, fullest);
        s->sum += shape;
        s->sum_sq += shape * shape;
        s->n++;
    }
    free(part);
    free(d);
}

egg_way egg_shape_way(const egg_shape *s)
{
    double n = (double)s->n;
    if (s->n < 2)
        return EGG_UNKNOWN;
    double mean = s->sum / n, spread = sqrt(fmax(s->sum_sq / n - mean * mean, 0));
    if (fabs(mean) < least_mean || fabs(mean) < least_errors * spread * sqrt(same_windows / n))
        return EGG_UNKNOWN;
    return mean > 0 ? EGG_UP : EGG_DOWN;
}
