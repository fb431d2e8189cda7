/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/candidates.h"

#include "base/array.h"
#include "base/note.h"

#include <math.h>
#include <soxr.h>
#include <stdlib.h>
#include <string.h>

/* Where the octave cost is nought, so that it does not favour voice over none or the reverse. */
static const double middle_hz = 220;
static const double low_rate_hz = 8000;
static const double lasting_s = 0.009;

struct correlator {
    float *x; /* [n] the low band */
    size_t n;
    double rate_hz;
    pitch_settings s;
    int lo, hi;        /* lags in samples, lo..hi */
    double *ncc;       /* [hi + 1] */
    float *around;     /* the samples about the frame, zero beyond the ends */
    double *around_sq; /* [reach * 2 + 1] running sum of squares of `around` */
    int reach;         /* samples on either side of the frame */
};

static int window_of(const correlator *c, int lag)
{
    double rate = c->rate_hz;
    double window = 3.0 * lag;
    window = fmax(window, c->s.window_lo_s * rate);
    window = fmin(window, c->s.window_hi_s * rate);
    return (int)window;
}

/* The band below 0.3 of low_rate_hz; sound that is slower already is taken as it is. */
static void take_low_band(correlator *c, const signal *x)
{
    c->rate_hz = fmin(low_rate_hz, x->rate_hz);
    c->x = xcalloc((size_t)((double)x->n * c->rate_hz / x->rate_hz) + 64, sizeof *c->x);
    size_t used;
    soxr_quality_spec_t quality = soxr_quality_spec(SOXR_HQ, 0);
    quality.passband_end = 0.6;
    if (x->rate_hz <= low_rate_hz ||
        soxr_oneshot(x->rate_hz, c->rate_hz, 1, x->x, x->n, &used, c->x,
                     (size_t)((double)x->n * c->rate_hz / x->rate_hz) + 64, &c->n, NULL, &quality,
                     NULL)) {
        c->rate_hz = x->rate_hz;
        c->n = x->n;
        c->x = xrealloc(c->x, x->n, sizeof *c->x);
        memcpy(c->x, x->x, x->n * sizeof *c->x);
    }
}

correlator *correlator_new(const signal *x, const pitch_settings *s)
{
    correlator *c = xcalloc(1, sizeof *c);
    c->s = *s;
    take_low_band(c, x);
    c->lo = (int)floor(c->rate_hz / s->hi_hz) - 1;
    c->hi = (int)ceil(c->rate_hz / s->lo_hz) + 1;
    c->reach = (c->hi + window_of(c, c->hi)) / 2 + 2;
    c->ncc = xcalloc((size_t)c->hi + 1, sizeof *c->ncc);
    c->around = xcalloc(2 * (size_t)c->reach, sizeof *c->around);
    c->around_sq = xcalloc(2 * (size_t)c->reach + 1, sizeof *c->around_sq);
    return c;
}

void correlator_free(correlator *c)
{
    if (!c)
        return;
    free(c->x);
    free(c->ncc);
    free(c->around);
    free(c->around_sq);
    free(c);
}

/* Copies the samples about `centre`; false when they are all nothing. */
static bool look_around(correlator *c, long centre)
{
    double sum = 0;
    for (int i = 0; i < 2 * c->reach; i++) {
        long at = centre - c->reach + i;
        float v = at >= 0 && at < (long)c->n ? c->x[at] : 0;
        c->around[i] = v;
        c->around_sq[i] = sum;
        sum += (double)v * (double)v;
    }
    c->around_sq[2 * c->reach] = sum;
    return sum > 2 * c->reach * 1e-10; /* -100 dB re full scale */
}

static float dot(const float *restrict a, const float *restrict b, int n)
{
    float s0 = 0, s1 = 0, s2 = 0, s3 = 0, s4 = 0, s5 = 0, s6 = 0, s7 = 0;
    int i = 0;
    for (; i + 8 <= n; i += 8) {
        s0 += a[i] * b[i];
        s1 += a[i + 1] * b[i + 1];
        s2 += a[i + 2] * b[i + 2];
        s3 += a[i + 3] * b[i + 3];
        s4 += a[i + 4] * b[i + 4];
        s5 += a[i + 5] * b[i + 5];
        s6 += a[i + 6] * b[i + 6];
        s7 += a[i + 7] * b[i + 7];
    }
    for (; i < n; i++)
        s0 += a[i] * b[i];
    return ((s0 + s1) + (s2 + s3)) + ((s4 + s5) + (s6 + s7));
}

static void correlate(correlator *c)
{
    for (int lag = c->lo; lag <= c->hi; lag++) {
        int window = window_of(c, lag);
        int a = c->reach - (lag + window) / 2, b = a + lag;
        double ea = c->around_sq[a + window] - c->around_sq[a];
        double eb = c->around_sq[b + window] - c->around_sq[b];
        double mean = sqrt(ea * eb);
        c->ncc[lag] = mean > 0 ? (double)dot(c->around + a, c->around + b, window) / mean : 0;
    }
}

/* Correlation between whole lags, by a Hann-windowed sinc over 8 neighbours. */
static double between(const correlator *c, double lag)
{
    int near = (int)floor(lag);
    double sum = 0, weight = 0;
    for (int i = near - 3; i <= near + 4; i++) {
        int at = i < c->lo ? c->lo : i > c->hi ? c->hi : i;
        double d = lag - i;
        double w = 0.5 + 0.5 * cos(M_PI * d / 4.5);
        w *= fabs(d) < 1e-9 ? 1 : sin(M_PI * d) / (M_PI * d);
        sum += w * c->ncc[at];
        weight += w;
    }
    return sum / weight;
}

/* The top near a whole-lag peak: parabolas through three points that draw together. */
static double refine(const correlator *c, int peak, double *top)
{
    double at = peak, step = 1;
    double l = c->ncc[peak - 1], m = c->ncc[peak], r = c->ncc[peak + 1];
    for (int round = 0; round < 3; round++) {
        double bend = l - 2 * m + r;
        if (bend < 0)
            at += step * fmax(-1, fmin(1, 0.5 * (l - r) / bend));
        step /= 4;
        l = between(c, at - step);
        m = between(c, at);
        r = between(c, at + step);
    }
    *top = fmin(m, 1);
    return at;
}

/* The highest correlation near the longest multiple of the lag that 9 ms hold. */
static double lasting(const correlator *c, double lag, double top)
{
    int periods = (int)(lasting_s * c->rate_hz / lag);
    if (periods < 2)
        return top;
    int near = (int)lround(periods * lag), reach = 1 + near / 60;
    double best = -1;
    for (int i = near - reach; i <= near + reach && i <= c->hi; i++)
        best = fmax(best, c->ncc[i]);
    return best;
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
    if (!look_around(c, lround(time_s * c->rate_hz)))
        return 0;
    correlate(c);
    for (int lag = c->lo + 1; lag < c->hi; lag++) {
        if (c->ncc[lag] < 0.2 || c->ncc[lag] < c->ncc[lag - 1] || c->ncc[lag] <= c->ncc[lag + 1])
            continue;
        double top, at = refine(c, lag, &top), hz = c->rate_hz / at;
        if (hz < s->lo_hz || hz > s->hi_hz)
            continue;
        double cost = log((1 - top + s->floor) / (1 - s->voiced_at + s->floor));
        keep(found, &n,
             (candidate){.st = note_from_hz(hz),
                         .lasting = lasting(c, at, top),
                         .cost = cost + s->octave_cost * log2(middle_hz / hz)});
    }
    return n;
}
