/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/vibrato.h"

#include "base/array.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

static const double slowest_hz = 3.5, fastest_hz = 9;
static const double least_alike = 0.4, least_cents = 10, least_s = 1;
/* Of equal repeats the first is the period: those after it are its multiples. */
static const double as_alike = 0.85;

/* The pitch without its outline, in cents; NaN where there is none of either. */
static double *ripple(const outline *c, const track *t)
{
    double *x = array_filled(t->n, (double)NAN);
    for (size_t i = 0; i < c->n; i++)
        x[c->items[i].frame] = 100 * (t->pitch_st[c->items[i].frame] - c->items[i].pitch_st);
    return x;
}

static double alike(const double *x, size_t n, size_t lag)
{
    double both = 0, one = 0, other = 0;
    for (size_t i = 0; i + lag < n; i++) {
        double a = x[i], b = x[i + lag];
        if (isnan(a) || isnan(b))
            continue;
        both += a * b;
        one += a * a;
        other += b * b;
    }
    return one > 0 && other > 0 ? both / sqrt(one * other) : 0;
}

static double period_s(const double *x, size_t n, double hop_s)
{
    size_t lo = (size_t)(1 / fastest_hz / hop_s), hi = (size_t)ceil(1 / slowest_hz / hop_s);
    double best = least_alike, before = 1, here = alike(x, n, lo), found = (double)NAN;
    for (size_t lag = lo; lag <= hi; lag++) {
        double after = alike(x, n, lag + 1);
        bool top = here >= before && here >= after;
        if (top && here >= best && (isnan(found) || as_alike * here > best)) {
            double bend = before - 2 * here + after;
            found = ((double)lag + (bend < 0 ? (before - after) / 2 / bend : 0)) * hop_s;
            best = here;
        }
        before = here;
        here = after;
    }
    return found;
}

vibrato vibrato_about(const outline *c, const track *t)
{
    double *x = ripple(c, t), sum = 0;
    size_t n = 0;
    for (size_t i = 0; i < t->n; i++)
        if (!isnan(x[i])) {
            sum += x[i] * x[i];
            n++;
        }
    vibrato v = {(double)NAN, n ? sqrt(2 * sum / (double)n) : (double)NAN};
    if (v.cents >= least_cents && (double)n * t->hop_s >= least_s)
        v.hz = 1 / period_s(x, t->n, t->hop_s);
    if (isnan(v.hz))
        v.cents = (double)NAN;
    free(x);
    return v;
}
