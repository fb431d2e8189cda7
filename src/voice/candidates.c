/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/candidates.h"

#include "base/array.h"
#include "base/lanes.h"
#include "base/note.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

/* Where the octave cost is nought, so that it does not favour voice over none or the reverse. */
static const double middle_hz = 220;
static const double faintest = 1e-10; /* mean square, -100 dB re full scale: below is nothing */

/* Places between whole lags; neighbours that tell of them; lags that are correlated together, one
 * a lane; how much further left the last of these begins than the first. */
enum { SHARES = 64, TAPS = 16, TOGETHER = LANES, SLANT = TOGETHER / 2 };

struct correlator {
    double rate_hz;
    pitch_settings s;
    double none, middle_st;       /* the cost of no pitch; middle_hz in semitones */
    int lo, hi;                   /* lags in samples that are looked at; all from 1 to a multiple of
                                TOGETHER are correlated */
    int *window;                  /* samples compared, a multiple of 4, for TOGETHER lags each */
    int reach;                    /* samples on either side of the frame */
    long n;                       /* samples of the sound */
    float *x;                     /* [n + 2 * reach] the sound, zero beyond its ends */
    double *energy;               /* [n + 2 * reach + 1] running sum of its squares */
    float *ncc;                   /* [hi + TOGETHER + 1 + TAPS], TAPS / 2 of them before lag 0 */
    float (*between)[TAPS];       /* [SHARES] weights of the lags about a place between 0 and 1 */
    float slant[SLANT][TOGETHER]; /* 1 for lags that begin more than so many samples further left */
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

static int begins_left(int lane)
{
    return (lane + 1) / 2;
}

void correlator_take(correlator *c, const signal *x)
{
    size_t reach = (size_t)c->reach, all = x->n + 2 * reach;
    free(c->x);
    free(c->energy);
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
    c->none = log(1 - s->voiced_at + s->floor);
    c->middle_st = note_from_hz(middle_hz);
    c->lo = (int)floor(x->rate_hz / s->hi_hz) - 1;
    c->hi = (int)ceil(x->rate_hz / s->lo_hz) + 1;
    int groups = c->hi / TOGETHER + 1;
    c->window = xmalloc((size_t)groups, sizeof *c->window);
    for (int g = 0; g < groups; g++)
        c->window[g] = window_of(c, g * TOGETHER + 0.5 * (TOGETHER + 1));
    c->reach = (groups * TOGETHER + c->window[groups - 1]) / 2 + TOGETHER;
    c->ncc = xcalloc((size_t)(groups * TOGETHER + 1 + TAPS), sizeof *c->ncc);
    correlator_take(c, x);
    tabulate_between(c);
    for (int m = 0; m < SLANT; m++)
        for (int k = 0; k < TOGETHER; k++)
            c->slant[m][k] = begins_left(k) > m ? 1 : 0;
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

/* The correlation at a whole lag. */
static float *at_lag(const correlator *c, int lag)
{
    return c->ncc + TAPS / 2 + lag;
}

/* Products of x[j] and x[j + lag..] for `window` samples from x[0] on, for the lane k from
 * x[-begins_left(k)] on: those that all lanes have, then what is over at both ends. */
EACH_PROCESSOR static void multiply(const correlator *c, const float *x, int lag, int window,
                                    float product[TOGETHER])
{
    lanes sum, left, y;
    lanes_correlate(x, x + lag, (size_t)(window - SLANT), product);
    memcpy(&sum, product, sizeof sum);
    for (int m = 0; m < SLANT; m++) {
        const float *before = x - 1 - m, *last = x + window - 1 - m;
        memcpy(&left, c->slant[m], sizeof left);
        memcpy(&y, before + lag, sizeof y);
        sum += left * (*before * y);
        memcpy(&y, last + lag, sizeof y);
        sum += (1 - left) * (*last * y);
    }
    memcpy(product, &sum, sizeof sum);
}

/* Lags lag.. (odd), TOGETHER of them: two stretches each of `window` samples (even), the sample
 * `at` in the middle of all. */
EACH_PROCESSOR static void correlate_together(const correlator *c, long at, int lag, int window)
{
    static const float nothing = 1e-30f;
    float product[TOGETHER], power[TOGETHER], *ncc = at_lag(c, lag);
    double left[SLANT + 1], right[SLANT + 1];
    long first = at - (lag + window) / 2;
    multiply(c, c->x + first, lag, window, product);
    for (int m = 0; m <= SLANT; m++) {
        const double *from = c->energy + first - m, *to = c->energy + first + lag + m;
        left[m] = from[window] - from[0];
        right[m] = to[window] - to[0];
    }
    for (int k = 0; k < TOGETHER; k++)
        power[k] = (float)(left[begins_left(k)] * right[k - begins_left(k)]);
    for (int k = 0; k < TOGETHER; k++)
        ncc[k] = product[k] / sqrtf(power[k] + nothing);
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
static inline float between(const correlator *c, int place)
{
    const float *w = c->between[place & (SHARES - 1)];
    const float *y = at_lag(c, place / SHARES) - (TAPS / 2 - 1);
    lanes w0, w1, y0, y1;
    memcpy(&w0, w, sizeof w0);
    memcpy(&w1, w + LANES, sizeof w1);
    memcpy(&y0, y, sizeof y0);
    memcpy(&y1, y + LANES, sizeof y1);
    lanes sum = w0 * y0 + w1 * y1;
    return ((sum[0] + sum[4]) + (sum[1] + sum[5])) + ((sum[2] + sum[6]) + (sum[3] + sum[7]));
}

/* Where a parabola through three points, one apart, has its top. */
static float top_of(float l, float m, float r)
{
    float bend = l - 2 * m + r;
    float at = bend < 0 ? 0.5f * (l - r) / bend : 0;
    return at > 1 ? 1 : at < -1 ? -1 : at;
}

/* The lag of the top near a whole-lag peak: a parabola through whole lags, one through points a
 * quarter apart. */
EACH_PROCESSOR static double refine(const correlator *c, int peak, double *top)
{
    enum { STEP = SHARES / 4 };
    const float *at = at_lag(c, peak);
    int place = peak * SHARES + (int)lrintf(SHARES * top_of(at[-1], at[0], at[1]));
    float l = between(c, place - STEP), m = between(c, place), r = between(c, place + STEP);
    float off = STEP * top_of(l, m, r);
    m = between(c, place + (int)lrintf(off));
    *top = m < 1 ? (double)m : 1;
    return ((double)place + (double)off) / SHARES;
}

void candidate_keep(candidate found[CANDIDATES_MOST], size_t *n, candidate new)
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

/* Which of the lags lag..lag + LANES - 1 are peaks of 0.2 or more, a bit each. */
EACH_PROCESSOR static unsigned peaks_from(const correlator *c, int lag)
{
    static const lane_bits bit = {1, 2, 4, 8, 16, 32, 64, 128};
    lanes before, there, after;
    memcpy(&before, at_lag(c, lag - 1), sizeof before);
    memcpy(&there, at_lag(c, lag), sizeof there);
    memcpy(&after, at_lag(c, lag + 1), sizeof after);
    lane_bits peak = (there >= 0.2f) & (there >= before) & (there > after) & bit;
    return (unsigned)((peak[0] + peak[4]) + (peak[1] + peak[5]) + (peak[2] + peak[6]) +
                      (peak[3] + peak[7]));
}

static void look_at_peak(const correlator *c, int lag, candidate found[CANDIDATES_MOST], size_t *n)
{
    const pitch_settings *s = &c->s;
    double top, hz = c->rate_hz / refine(c, lag, &top);
    if (hz < s->lo_hz || hz > s->hi_hz)
        return;
    double octaves = (double)log2f((float)(hz / middle_hz));
    double unexplained = (double)logf((float)(1 - top + s->floor));
    candidate_keep(found, n,
                   (candidate){.st = c->middle_st + 12 * octaves,
                               .unexplained = unexplained,
                               .cost = unexplained - c->none - s->octave_cost * octaves});
}

size_t correlator_candidates(correlator *c, double time_s, candidate found[CANDIDATES_MOST])
{
    size_t n = 0;
    long centre = lround(time_s * c->rate_hz), at = centre + c->reach;
    if (centre < 0 || centre > c->n)
        return 0;
    if (c->energy[at + c->reach] - c->energy[at - c->reach] <= 2 * c->reach * faintest)
        return 0;
    correlate(c, at);
    for (int first = c->lo + 1; first < c->hi; first += LANES) {
        unsigned peaks = peaks_from(c, first);
        for (int lag = first; peaks && lag < c->hi; lag++, peaks >>= 1)
            if (peaks & 1)
                look_at_peak(c, lag, found, &n);
    }
    return n;
}
