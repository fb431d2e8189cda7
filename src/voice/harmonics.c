/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/harmonics.h"

#include "base/array.h"
#include "base/note.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

static const double shortest_s = 0.030;
static const double highest_hz = 6000;
enum { PERIODS = 4, LINES = 2 * TRACK_HARMONICS + 1 }; /* every half harmonic from 1/2 to 16 1/2 */

/* Pitch of every frame in Hz, held across unvoiced frames; false when no frame is voiced. */
static bool pitch_held(const track *t, double *hz)
{
    size_t first = 0;
    while (first < t->n && isnan(t->pitch_st[first]))
        first++;
    if (first == t->n)
        return false;
    for (size_t i = 0; i < t->n; i++) {
        if (!isnan(t->pitch_st[i]))
            hz[i] = note_to_hz(t->pitch_st[i]);
        else
            hz[i] = i > first ? hz[i - 1] : note_to_hz(t->pitch_st[first]);
    }
    return true;
}

/* exp(-j phi / 2) at every sample; pitch runs straight from frame to frame. */
static float complex *half_phasors(const signal *x, const track *t, const double *hz)
{
    float complex *turn = xmalloc(x->n, sizeof *turn);
    double phase = 0;
    for (size_t i = 0; i < x->n; i++) {
        double at = ((double)i / x->rate_hz - t->time_s[0]) / t->hop_s;
        size_t f = at <= 0 ? 0 : (size_t)at;
        double now = f + 1 >= t->n ? hz[t->n - 1] : hz[f] + (at - (double)f) * (hz[f + 1] - hz[f]);
        phase += M_PI * now / x->rate_hz;
        phase = phase > 2 * M_PI ? phase - 2 * M_PI : phase;
        turn[i] = (float)cos(phase) - (float)sin(phase) * I;
    }
    return turn;
}

/* Power of every half harmonic under the window about `centre`, as a sine's mean square. */
static void lines_at(const signal *x, const float complex *turn, long centre, int half, int n_lines,
                     double power[LINES])
{
    float complex sum[LINES] = {0};
    double weight = 0;
    for (int i = -half; i <= half; i++) {
        long at = centre + i;
        double w = 1 + cos(M_PI * i / (half + 1));
        weight += w;
        if (at < 0 || at >= (long)x->n)
            continue;
        float complex v = (float)w * x->x[at], step = turn[at];
        float re = crealf(v), im = 0, c = crealf(step), s = cimagf(step);
        for (int k = 0; k < n_lines; k++) {
            float next = re * c - im * s;
            im = re * s + im * c;
            re = next;
            sum[k] += re + im * I;
        }
    }
    for (int k = 0; k < n_lines; k++) {
        double re = (double)crealf(sum[k]), im = (double)cimagf(sum[k]);
        power[k] = 2 * (re * re + im * im) / (weight * weight);
    }
}

static float db(double power)
{
    return power > 0 ? (float)(10 * log10(power)) : -INFINITY;
}

void harmonics_measure(const signal *x, track *t)
{
    double *hz = xmalloc(t->n, sizeof *hz);
    if (!t->n || !pitch_held(t, hz)) {
        free(hz);
        return;
    }
    float complex *turn = half_phasors(x, t, hz);
    double top_hz = fmin(highest_hz, 0.45 * x->rate_hz);
    for (size_t f = 0; f < t->n; f++) {
        if (isnan(t->pitch_st[f]))
            continue;
        double power[LINES];
        int half = (int)(x->rate_hz * fmax(shortest_s, PERIODS / hz[f]) / 2);
        int harmonics = (int)fmin(TRACK_HARMONICS, floor(top_hz / hz[f]));
        lines_at(x, turn, lround(t->time_s[f] * x->rate_hz), half, 2 * harmonics + 1, power);
        for (int h = 0; h < harmonics; h++) {
            size_t at = f * TRACK_HARMONICS + (size_t)h;
            t->harmonic_db[at] = db(power[2 * h + 1]);
            t->noise_db[at] = db((power[2 * h] + power[2 * h + 2]) / 2);
        }
    }
    free(turn);
    free(hz);
}
