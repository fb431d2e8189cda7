/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/contact.h"

#include <math.h>

static const size_t reach = 60,
                    apart = 25; /* frames: levels are those of 125-300 ms beside a flip */

typedef struct way { /* coordinates of frames first..last about a flip */
    const contact *c;
    size_t first, last;
} way;

static double coordinate(const contact *c, size_t i)
{
    return c->says[i].mass > 0 ? c->says[i].z / c->says[i].mass : (double)NAN;
}

/* Mean of the frame and its neighbours. */
static double smooth(const way *w, size_t i)
{
    double sum = 0, n = 0;
    for (size_t k = i > w->first ? i - 1 : i; k <= i + 1 && k <= w->last; k++)
        if (!isnan(coordinate(w->c, k))) {
            sum += coordinate(w->c, k);
            n++;
        }
    return n > 0 ? sum / n : (double)NAN;
}

static double mean(const contact *c, size_t from, size_t to)
{
    double sum = 0, n = 0;
    for (size_t i = from; i <= to; i++)
        if (!isnan(coordinate(c, i))) {
            sum += coordinate(c, i);
            n++;
        }
    return n > 0 ? sum / n : (double)NAN;
}

/* The time nearest to frame `at` at which the share of the way from `before` to `after` passes
 * `share`, looked for backwards or onwards; NaN where it does not. */
static double passes(const way *w, const double *time_s, size_t at, bool back, double before,
                     double after, double share)
{
    double level = before + share * (after - before), sign = after > before ? 1 : -1;
    for (size_t k = 0;; k++) {
        if (back ? at < w->first + k + 1 : at + k > w->last)
            return (double)NAN;
        size_t i = back ? at - k : at + k;
        if (i == w->first)
            continue;
        double x = sign * (smooth(w, i - 1) - level), y = sign * (smooth(w, i) - level);
        if (x < 0 && y >= 0)
            return time_s[i - 1] + x / (x - y) * (time_s[i] - time_s[i - 1]);
    }
}

bool contact_place(const contact *c, const double *time_s, size_t first, size_t last, size_t at,
                   refined *out)
{
    size_t stay = at - first, next = last - at + 1;
    size_t gap = stay / 2 < apart ? stay / 2 : apart, beyond = next / 2 < apart ? next / 2 : apart;
    if (stay < 4 || next < 4)
        return false;
    way w = {c, at - (stay < reach ? stay : reach), at + (next < reach ? next : reach) - 1};
    double before = mean(c, w.first, at - gap), after = mean(c, at + beyond, w.last);
    if (isnan(before) || isnan(after))
        return false;
    double back = passes(&w, time_s, at, true, before, after, 0.5);
    double on = passes(&w, time_s, at, false, before, after, 0.5), now = time_s[at];
    double half = isnan(on) || now - back < on - now ? back : on;
    if (isnan(half))
        return false;
    size_t middle = at;
    while (middle > w.first && time_s[middle] > half)
        middle--;
    while (middle < w.last && time_s[middle] < half)
        middle++;
    double start = passes(&w, time_s, middle, true, before, after, 0.1);
    double end = passes(&w, time_s, middle, false, before, after, 0.9);
    *out = (refined){.time_s = half, .span_ms = 1000 * (end - start)};
    return true;
}
