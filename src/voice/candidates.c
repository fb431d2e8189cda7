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

enum { SHARES = 64, TAPS = 16 }; /* places between whole lags; neighbours that tell of them */

typedef float lanes __attribute__((vector_size(16)));

struct correlator {
    const signal *x;
    pitch_settings s;
    int lo, hi;             /* lags in samples, lo..hi */
    int *window;            /* [hi + 1] samples compared at a lag */
    int reach;              /* samples on either side of the frame */
    float *ncc;             /* [hi + 1 + TAPS], TAPS / 2 of them before lag 0 */
    float *around;          /* [2 * reach] the samples about the frame, zero beyond the ends */
    double *energy;         /* [2 * reach + 1] running sum of their squares */
    float (*between)[TAPS]; /* [SHARES] weights of the lags about a place between 0 and 1 */
};

static int window_of(const correlator *c, int lag)
{
    double rate = c->x->rate_hz, window = fmax(3.0 * lag, c->s.window_lo_s * rate);
    return (int)fmin(window, c->s.window_hi_s * rate);
}

/* Hann-windowed sinc. */
static void tabulate_between(correlator *c)
{
    c->between = xmalloc(SHARES, sizeof *c->between);
    for (int share = 0; share < SHARES; share++) {
        double sum = 0, w[TAPS];
        for (int i = 0; i < TAPS; i++) {
            double d = (double)share / SHARES - (i - (TAPS / 2 - 1));
            w[i] = (0.5 + 0.5 * cos(M_PI * d / (TAPS / 2 + 0.5))) *
                   (d == 0 ? 1 : sin(M_PI * d) / (M_PI * d));
            sum += w[i];
        }
        for (int i = 0; i < TAPS; i++)
            c->between[share][i] = (float)(w[i] / sum);
    }
}

correlator *correlator_new(const signal *x, const pitch_settings *s)
{
    correlator *c = xcalloc(1, sizeof *c);
    c->x = x;
    c->s = *s;
    c->lo = (int)floor(x->rate_hz / s->hi_hz) - 1;
    c->hi = (int)ceil(x->rate_hz / s->lo_hz) + 1;
    c->window = xcalloc((size_t)c->hi + 1, sizeof *c->window);
    for (int lag = 0; lag <= c->hi; lag++)
        c->window[lag] = window_of(c, lag);
    c->reach = (c->hi + c->window[c->hi]) / 2 + 2;
    c->ncc = xcalloc((size_t)c->hi + 1 + TAPS, sizeof *c->ncc);
    c->around = xcalloc(2 * (size_t)c->reach, sizeof *c->around);
    c->energy = xcalloc(2 * (size_t)c->reach + 1, sizeof *c->energy);
    tabulate_between(c);
    return c;
}

void correlator_free(correlator *c)
{
    if (!c)
        return;
    free(c->window);
    free(c->ncc);
    free(c->around);
    free(c->energy);
    free(c->between);
    free(c);
}

/* Copies the samples about `centre`; false when they are all nothing. */
static bool look_around(correlator *c, long centre)
{
    double sum = 0;
    long first = centre - c->reach, n = (long)c->x->n;
    for (int i = 0; i < 2 * c->reach; i++) {
        float v = first + i >= 0 && first + i < n ? c->x->x[first + i] : 0;
        c->around[i] = v;
        c->energy[i] = sum;
        sum += (double)v * (double)v;
    }
    c->energy[2 * c->reach] = sum;
    return sum > 2 * c->reach * 1e-10; /* -100 dB re full scale */
}

static float dot(const float *a, const float *b, int n)
{
    lanes sum0 = {0}, sum1 = {0}, a0, a1, b0, b1;
    int i = 0;
    for (; i + 8 <= n; i += 8) {
        memcpy(&a0, a + i, sizeof a0);
        memcpy(&b0, b + i, sizeof b0);
        memcpy(&a1, a + i + 4, sizeof a1);
        memcpy(&b1, b + i + 4, sizeof b1);
        sum0 += a0 * b0;
        sum1 += a1 * b1;
    }
    sum0 += sum1;
    float sum = (sum0[0] + sum0[1]) + (sum0[2] + sum0[3]);
    for (; i < n; i++)
        sum += a[i] * b[i];
    return sum;
}

/* The correlation at a whole lag. */
static float *at_lag(const correlator *c, int lag)
{
    return c->ncc + TAPS / 2 + lag;
}

static void correlate(correlator *c)
{
    for (int lag = 1; lag <= c->hi; lag++) {
        int window = c->window[lag];
        int a = c->reach - (lag + window) / 2, b = a + lag;
        double ea = c->energy[a + window] - c->energy[a];
        double eb = c->energy[b + window] - c->energy[b];
        float product = dot(c->around + a, c->around + b, window);
        *at_lag(c, lag) = ea * eb > 0 ? product / sqrtf((float)(ea * eb)) : 0;
    }
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
static double top_of(float l, float m, float r)
{
    double bend = (double)(l - 2 * m + r);
    return bend < 0 ? fmax(-1, fmin(1, 0.5 * (double)(l - r) / bend)) : 0;
}

/* The lag of the top near a whole-lag peak: parabolas through points that draw together. */
static double refine(const correlator *c, int peak, double *top)
{
    const float *at = at_lag(c, peak);
    int place = peak * SHARES + (int)lround(SHARES * top_of(at[-1], at[0], at[1]));
    float l = 0, m = 0, r = 0;
    double off = 0;
    for (int step = SHARES / 4; step >= SHARES / 16; step /= 4) {
        place += (int)lround(off);
        l = between(c, place - step);
        m = between(c, place);
        r = between(c, place + step);
        off = step * top_of(l, m, r);
    }
    *top = fmin((double)m, 1);
    return (place + off) / SHARES;
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
    size_t n = 0;
    if (!look_around(c, lround(time_s * c->x->rate_hz)))
        return 0;
    correlate(c);
    for (int lag = c->lo + 1; lag < c->hi; lag++) {
        const float *ncc = at_lag(c, lag);
        if (ncc[0] < 0.2f || ncc[0] < ncc[-1] || ncc[0] <= ncc[1])
            continue;
        double top, at = refine(c, lag, &top), hz = c->x->rate_hz / at;
        if (hz < s->lo_hz || hz > s->hi_hz)
            continue;
        double unexplained = log(1 - top + s->floor);
        double cost = unexplained - log(1 - s->voiced_at + s->floor);
        keep(found, &n,
             (candidate){.st = note_from_hz(hz),
                         .unexplained = unexplained,
                         .cost = cost + s->octave_cost * log2(middle_hz / hz)});
    }
    return n;
}
