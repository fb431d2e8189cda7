/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/candidates.h"

#include "base/array.h"
#include "base/note.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

/* Where the octave cost is nought, so that it does not favour voice over none or the reverse. */
static const double middle_hz = 220;
static const double faintest = 1e-10; /* mean square, -100 dB re full scale: below is nothing */

/* Places between whole lags; neighbours that tell of them; lags that are correlated together. */
enum { SHARES = 64, TAPS = 16, TOGETHER = 4 };

typedef float lanes __attribute__((vector_size(16)));

struct correlator {
    double rate_hz;
    pitch_settings s;
    int lo, hi;             /* lags in samples that are looked at; all from 1 to a multiple of
                                TOGETHER are correlated */
    int *window;            /* samples compared, a multiple of 4, for TOGETHER lags each */
    int reach;              /* samples on either side of the frame */
    long n;                 /* samples of the sound */
    float *x;               /* [n + 2 * reach] the sound, zero beyond its ends */
    double *energy;         /* [n + 2 * reach + 1] running sum of its squares */
    float *ncc;             /* [hi + TOGETHER + 1 + TAPS], TAPS / 2 of them before lag 0 */
    float (*between)[TAPS]; /* [SHARES] weights of the lags about a place between 0 and 1 */
};

static int window_of(const correlator *c, double lag)
{
    double window = fmax(3 * lag, c->s.window_lo_s * c->rate_hz);
    return 4 * (int)lround(fmin(window, c->s.window_hi_s * c->rate_hz) / 4);
}

/* Hann-windowed sinc. */
static void tabulate_between(correlator *c)
{
    c->between = xmalloc(SHARES, sizeof *c->between);
    for (int share = 0; share < SHARES; share++) {
        double sum = 0, w[TAPS];
        for (int i = 0; i < TAPS; i++) {
            double d = (double)share / SHARES - (i - (TAPS / 2 - 1));
            w[i] = 0.5 + 0.5 * cos(M_PI * d / (TAPS / 2 + 0.5));
            w[i] *= d == 0 ? 1 : sin(M_PI * d) / (M_PI * d);
            sum += w[i];
        }
        for (int i = 0; i < TAPS; i++)
            c->between[share][i] = (float)(w[i] / sum);
    }
}

static void take_sound(correlator *c, const signal *x)
{
    size_t reach = (size_t)c->reach, all = x->n + 2 * reach;
    c->n = (long)x->n;
    c->x = xcalloc(all, sizeof *c->x);
    c->energy = xmalloc(all + 1, sizeof *c->energy);
    memcpy(c->x + reach, x->x, x->n * sizeof *c->x);
    c->energy[0] = 0;
    for (size_t i = 0; i < all; i++)
        c->energy[i + 1] = c->energy[i] + (double)c->x[i] * (double)c->x[i];
}

correlator *correlator_new(const signal *x, const pitch_settings *s)
{
    correlator *c = xcalloc(1, sizeof *c);
    c->rate_hz = x->rate_hz;
    c->s = *s;
    c->lo = (int)floor(x->rate_hz / s->hi_hz) - 1;
    c->hi = (int)ceil(x->rate_hz / s->lo_hz) + 1;
    int groups = c->hi / TOGETHER + 1;
    c->window = xmalloc((size_t)groups, sizeof *c->window);
    for (int g = 0; g < groups; g++)
        c->window[g] = window_of(c, g * TOGETHER + 0.5 * (TOGETHER + 1));
    c->reach = (groups * TOGETHER + c->window[groups - 1]) / 2 + 2;
    c->ncc = xcalloc((size_t)(groups * TOGETHER + 1 + TAPS), sizeof *c->ncc);
    take_sound(c, x);
    tabulate_between(c);
    return c;
}

void correlator_free(correlator *c)
{
    if (!c)
        return;
    free(c->window);
    free(c->ncc);
    free(c->x);
    free(c->energy);
    free(c->between);
    free(c);
}

static lanes load(const float *from)
{
    lanes to;
    memcpy(&to, from, sizeof to);
    return to;
}

static float sum_of(lanes x)
{
    return (x[0] + x[1]) + (x[2] + x[3]);
}

static float dot(const float *a, const float *b, int n)
{
    lanes sum = {0};
    for (int i = 0; i < n; i += 4)
        sum += load(a + i) * load(b + i);
    return sum_of(sum);
}

/* The correlation at a whole lag. */
static float *at_lag(const correlator *c, int lag)
{
    return c->ncc + TAPS / 2 + lag;
}

/* Lags lag..lag + 3: two stretches each, the sample `at` in the middle of all. */
static void correlate_together(const correlator *c, long at, int lag, int window)
{
    const float *a[TOGETHER];
    lanes sum[TOGETHER] = {{0}};
    for (int k = 0; k < TOGETHER; k++)
        a[k] = c->x + at - (lag + k + window) / 2;
    for (int i = 0; i < window; i += 4) {
        sum[0] += load(a[0] + i) * load(a[0] + lag + i);
        sum[1] += load(a[1] + i) * load(a[1] + lag + 1 + i);
        sum[2] += load(a[2] + i) * load(a[2] + lag + 2 + i);
        sum[3] += load(a[3] + i) * load(a[3] + lag + 3 + i);
    }
    for (int k = 0; k < TOGETHER; k++) {
        const double *from = c->energy + (a[k] - c->x), *to = from + lag + k;
        double power = (from[window] - from[0]) * (to[window] - to[0]);
        *at_lag(c, lag + k) = power > 0 ? sum_of(sum[k]) / sqrtf((float)power) : 0;
    }
}

static void correlate(correlator *c, long at)
{
    for (int g = 0; g * TOGETHER < c->hi; g++)
        correlate_together(c, at, g * TOGETHER + 1, c->window[g]);
    *at_lag(c, 0) = 1;
    for (int i = 1; i <= TAPS / 2; i++) {
        *at_lag(c, -i) = *at_lag(c, i);
        *at_lag(c, c->hi + i) = *at_lag(c, c->hi);
    }
}

/* Correlation between whole lags; `place` is a lag in 1 / SHARES. */
static float between(const correlator *c, int place)
{
    return dot(c->between[place % SHARES], at_lag(c, place / SHARES) - (TAPS / 2 - 1), TAPS);
}

/* Where a parabola through three points, one apart, has its top. */
static float top_of(float l, float m, float r)
{
    float bend = l - 2 * m + r;
    float at = bend < 0 ? 0.5f * (l - r) / bend : 0;
    return at > 1 ? 1 : at < -1 ? -1 : at;
}

/* The lag of the top near a whole-lag peak: parabolas through points that draw together. */
static double refine(const correlator *c, int peak, double *top)
{
    const float *at = at_lag(c, peak);
    int place = peak * SHARES + (int)lrintf(SHARES * top_of(at[-1], at[0], at[1]));
    float l = 0, m = 0, r = 0;
    float off = 0;
    for (int step = SHARES / 4; step >= SHARES / 16; step /= 4) {
        place += (int)lrintf(off);
        l = between(c, place - step);
        m = between(c, place);
        r = between(c, place + step);
        off = (float)step * top_of(l, m, r);
    }
    *top = m < 1 ? (double)m : 1;
    return ((double)place + (double)off) / SHARES;
}

static void keep(candidate found[CANDIDATES_MOST], size_t *n, candidate new)
{
    size_t at = *n < CANDIDATES_MOST ? (*n)++ : CANDIDATES_MOST;
    if (at == CANDIDATES_MOST) {
        if (found[at - 1].cost <= new.cost)
            return;
        at--;
    }
    while (at > 0 && found[at - 1].cost > new.cost) {
        found[at] = found[at - 1];
        at--;
    }
    found[at] = new;
}

size_t correlator_candidates(correlator *c, double time_s, candidate found[CANDIDATES_MOST])
{
    const pitch_settings *s = &c->s;
    const double none = log(1 - s->voiced_at + s->floor), middle_st = note_from_hz(middle_hz);
    size_t n = 0;
    long centre = lround(time_s * c->rate_hz), at = centre + c->reach;
    if (centre < 0 || centre > c->n)
        return 0;
    if (c->energy[at + c->reach] - c->energy[at - c->reach] <= 2 * c->reach * faintest)
        return 0;
    correlate(c, at);
    for (int lag = c->lo + 1; lag < c->hi; lag++) {
        const float *ncc = at_lag(c, lag);
        if (ncc[0] < 0.2f || ncc[0] < ncc[-1] || ncc[0] <= ncc[1])
            continue;
        double top, hz = c->rate_hz / refine(c, lag, &top);
        if (hz < s->lo_hz || hz > s->hi_hz)
            continue;
        double octaves = (double)log2f((float)(hz / middle_hz));
        double unexplained = (double)logf((float)(1 - top + s->floor));
        keep(found, &n,
             (candidate){.st = middle_st + 12 * octaves,
                         .unexplained = unexplained,
                         .cost = unexplained - none - s->octave_cost * octaves});
    }
    return n;
}
