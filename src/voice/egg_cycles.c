/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/egg_cycles.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

/* The derivative is smoothed by a bell of this many periods (standard deviation). M1 closes in
 * 0.05-0.1 of a period, which this dulls by a third; narrower, noise makes peaks. */
static const double bell_periods = 0.02;
static const double nearest = 0.55; /* two rises lie this many periods apart at least */
static const double shortest = 0.5, longest = 2.2; /* a cycle, in periods */
static const double criterion = 3.0 / 7;
static const double once_more = 0.65, before_rise = 0.15; /* a second contact; what the next one's
                                                             rise takes, of the cycle */
static const double second_peak = 0.7; /* another negative peak this high makes both doubtful */
static const double apart = 0.08;      /* and this far from it, of the cycle */

typedef struct smooth { /* samples first..last - 1 */
    const double *period;
    size_t first, last;
    double *x, *d; /* [last - first] smoothed signal and its slope a sample */
} smooth;

/* Both by the same bell: its derivative gives the slope. */
static void smooth_at(const double *x, size_t n, size_t i, double sd, double *value, double *slope)
{
    long reach = (long)ceil(3 * sd), at = (long)i, end = (long)n;
    double sum = 0, weights = 0, moved = 0, squares = 0;
    for (long k = -reach; k <= reach; k++) {
        long from = at + k < 0 ? 0 : at + k >= end ? end - 1 : at + k;
        double w = exp(-0.5 * (double)(k * k) / (sd * sd));
        sum += w * x[from];
        weights += w;
        moved += w * (double)k * x[from];
        squares += w * (double)(k * k);
    }
    *value = sum / weights;
    *slope = moved / squares;
}

static smooth smooth_new(const double *x, size_t n, const double *period, size_t first, size_t last)
{
    size_t m = last - first;
    smooth s = {.period = period, .first = first, .last = last};
    s.x = xmalloc(m, sizeof *s.x);
    s.d = xmalloc(m, sizeof *s.d);
    for (size_t i = 0; i < m; i++) {
        double sd = fmax(bell_periods * period[first + i], 0.5);
        smooth_at(x, n, first + i, sd, &s.x[i], &s.d[i]);
    }
    return s;
}

/* Where a parabola through three points has its extreme, from the middle one: -0.5..0.5. */
static double vertex(const double *y)
{
    double bend = y[-1] - 2 * y[0] + y[1];
    return bend != 0 ? fmin(fmax(0.5 * (y[-1] - y[1]) / bend, -0.5), 0.5) : 0;
}

/* The extreme itself. */
static double summit(const double *y)
{
    return y[0] + 0.25 * vertex(y) * (y[1] - y[-1]);
}

static bool is_rise(const smooth *s, size_t i)
{
    size_t m = s->last - s->first, reach = (size_t)(nearest * s->period[s->first + i]);
    if (s->d[i] <= 0 || s->d[i] < s->d[i - 1] || s->d[i] <= s->d[i + 1])
        return false;
    size_t lo = i > reach ? i - reach : 0, hi = i + reach < m ? i + reach : m - 1;
    for (size_t k = lo; k <= hi; k++)
        if (s->d[k] > s->d[i])
            return false;
    return true;
}

static size_t find_rises(const smooth *s, size_t *rises)
{
    size_t n = 0, m = s->last - s->first;
    for (size_t i = 1; i + 1 < m; i++)
        if (is_rise(s, i))
            rises[n++] = i;
    return n;
}

static size_t highest(const double *y, size_t from, size_t to, double sign)
{
    size_t best = from;
    for (size_t i = from; i < to; i++)
        if (sign * y[i] > sign * y[best])
            best = i;
    return best;
}

/* The deepest fall between the top and the end, NaN where another is nearly as deep. */
static double single_fall(const smooth *s, size_t top, size_t end, double length)
{
    size_t fall = highest(s->d, top, end, -1);
    if (fall == 0 || fall + 1 >= s->last - s->first || s->d[fall] >= 0)
        return (double)NAN;
    for (size_t i = top + 1; i < end; i++)
        if (s->d[i] < s->d[i - 1] && s->d[i] <= s->d[i + 1] && s->d[i] < second_peak * s->d[fall] &&
            fabs((double)i - (double)fall) > apart * length)
            return (double)NAN;
    return (double)fall + vertex(&s->d[fall]);
}

typedef struct pulse { /* one cycle's contact over its baseline */
    size_t top, end;
    double base, slope, amplitude; /* base: at the top */
} pulse;

/* How far sample i lies over a share of the amplitude. The baseline moves: a straight line between
 * the lows on either side. */
static double over(const smooth *s, const pulse *p, size_t i, double share)
{
    return s->x[i] - p->base - p->slope * ((double)i - (double)p->top) - share * p->amplitude;
}

/* Where contact ends; NaN where it does not, or where contact comes again before the next rise:
 * those are two cycles, or none. */
static double contact_end(const smooth *s, const pulse *p, double length)
{
    size_t i = p->top, until = p->end - (size_t)(before_rise * length);
    while (i < p->end && over(s, p, i, criterion) >= 0)
        i++;
    if (i == p->end)
        return (double)NAN;
    double above = over(s, p, i - 1, criterion), below = over(s, p, i, criterion);
    double at = (double)i - 1 + above / (above - below);
    for (; i < until; i++)
        if (over(s, p, i, once_more) > 0)
            return (double)NAN;
    return at;
}

/* The cycle from rise a to rise b; the low before it is looked for from `before` on. */
static bool measure(const smooth *s, size_t before, size_t a, size_t b, egg_cycle *c)
{
    size_t low0 = highest(s->x, before, a, -1), top = highest(s->x, a, b, 1);
    size_t low1 = highest(s->x, top, b, -1);
    pulse p = {.top = top, .end = b};
    if (low0 == 0 || low1 <= top || low1 + 1 >= s->last - s->first)
        return false;
    double before_low = summit(&s->x[low0]), after_low = summit(&s->x[low1]);
    p.slope = (after_low - before_low) / (double)(low1 - low0);
    p.base = before_low + p.slope * (double)(top - low0);
    p.amplitude = summit(&s->x[top]) - p.base;
    if (!(p.amplitude > 0))
        return false;
    double start = (double)a + vertex(&s->d[a]), end = (double)b + vertex(&s->d[b]);
    double length = end - start;
    *c = (egg_cycle){.start = start, .end = end, .amplitude = p.amplitude};
    c->quotient = (contact_end(s, &p, length) - start) / length;
    if (isnan(c->quotient))
        return false;
    c->peaks_quotient = (single_fall(s, top, b, length) - start) / length;
    c->closing = s->d[a] * length / p.amplitude;
    c->opening = -s->d[highest(s->d, top, b, -1)] * length / p.amplitude;
    return true;
}

void egg_cycles_find(const double *x, size_t n, const double *period, size_t first, size_t last,
                     egg_cycles *out)
{
    if (last - first < 4)
        return;
    smooth s = smooth_new(x, n, period, first, last);
    size_t *rises = xmalloc(last - first, sizeof *rises), n_rises = find_rises(&s, rises);
    for (size_t k = 0; k + 1 < n_rises; k++) {
        size_t a = rises[k], b = rises[k + 1];
        double t = period[first + a], length = (double)(b - a);
        size_t back = (size_t)(0.6 * length), before = a > back ? a - back : 0;
        before = k && rises[k - 1] > before ? rises[k - 1] : before;
        egg_cycle c;
        if (length < shortest * t || length > longest * t || a < 2 ||
            !measure(&s, before, a, b, &c))
            continue;
        c.start += (double)first;
        c.end += (double)first;
        array_reserve((void **)&out->items, &out->room, out->n + 1, sizeof *out->items);
        out->items[out->n++] = c;
    }
    free(rises);
    free(s.x);
    free(s.d);
}

void egg_cycles_clear(egg_cycles *c)
{
    free(c->items);
    *c = (egg_cycles){.n = 0};
}
