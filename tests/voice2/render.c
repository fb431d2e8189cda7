/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/render.h"

#include "base/array.h"
#include "voice2/chance.h"

#include <assert.h>
#include <math.h>
#include <soxr.h>
#include <stdlib.h>

#define LEAST_RATE_HZ 88200
#define AIR_HZ 800.0 /* turbulence has little below: a first-order high-pass */

static double db(double level)
{
    return pow(10, level / 20);
}

/* Step of the act in which sample j of a clip lies. */
static size_t step_of(const act *a, size_t j, int rate_hz)
{
    size_t k = (size_t)((double)j / rate_hz / CHART_STEP_S);
    return k < a->n ? k : a->n - 1;
}

/* The whole of a clip through the moving tract. */
static void through_throat(const act *a, const double *opening, clip *c)
{
    throat_run run = {0};
    size_t from = 0;
    for (size_t k = 0; k < a->n; k++) {
        size_t to = (size_t)((double)(k + 1) * CHART_STEP_S * c->rate_hz);
        to = to < c->n ? to : c->n;
        throat_filter(&run, &a->throat[k], c->rate_hz, opening + from, c->samples + from,
                      to - from);
        from = to;
    }
}

static void radiate(clip *flow)
{
    double before = 0;
    for (size_t j = 0; j < flow->n; j++) {
        double now = flow->samples[j];
        flow->samples[j] = (now - before) * flow->rate_hz;
        before = now;
    }
}

/* RMS that white noise of variance 1 has after the high-pass and the tract at rest. */
static double air_gain(const vocalist *v, double rate_hz)
{
    enum { BANDS = 4000 };
    double sum = 0;
    for (int i = 0; i < BANDS; i++) {
        double f = (i + 0.5) / BANDS * rate_hz / 2;
        double g = throat_gain(&v->throat, 0.3, f, rate_hz) * f / hypot(f, AIR_HZ);
        sum += g * g / BANDS;
    }
    return sqrt(sum);
}

/* Breath noise, part of it in step with the flow, and the breath drawn in before. */
static clip air(const vocalist *v, const act *a, int take, const clip *like, const double *opening)
{
    gsl_rng *r = chance_new(cast_get(v->family, v->woman).name, v->seed, take, "air");
    clip out = {like->n, like->rate_hz, xcalloc(like->n, sizeof *out.samples)};
    double pole = exp(-2 * M_PI * AIR_HZ / like->rate_hz), low = 0;
    double gain = 1 / air_gain(v, like->rate_hz);
    for (size_t j = 0; j < out.n; j++) {
        size_t k = step_of(a, j, like->rate_hz);
        double white = chance_bell(r, 1);
        low = pole * low + (1 - pole) * white;
        double pulsed = (1 - v->pulsing) + v->pulsing * 2 * opening[j];
        double sung = a->line.gate[k] > 0 ? pulsed * db(a->level_db[k] + a->air_db[k]) : 0;
        double drawn = a->line.breath[k] * db(v->middle_db - 30);
        out.samples[j] = gain * (white - low) * (sung + drawn);
    }
    through_throat(a, opening, &out);
    gsl_rng_free(r);
    return out;
}

/* Fricatives and bursts: noise made at the front of the mouth, round 4.5 kHz. */
static void hiss(const vocalist *v, const act *a, int take, clip *c)
{
    gsl_rng *r = chance_new(cast_get(v->family, v->woman).name, v->seed, take, "hiss");
    double centre = chance_in(r, 3500, 5500), level = db(v->middle_db - chance_in(r, 8, 18));
    double pole = exp(-M_PI * 1500 / c->rate_hz), y1 = 0, y2 = 0;
    double b = 2 * pole * cos(2 * M_PI * centre / c->rate_hz), d = pole * pole;
    double scale = 2 * sqrt(1 - pole);
    for (size_t j = 0; j < c->n; j++) {
        double y =
            scale * chance_bell(r, 1) * sin(2 * M_PI * centre / c->rate_hz) + b * y1 - d * y2;
        c->samples[j] += level * a->line.hiss[step_of(a, j, c->rate_hz)] * y;
        y2 = y1;
        y1 = y;
    }
    gsl_rng_free(r);
}

double clip_level_db(const clip *c, double t_s, double window_s)
{
    double centre = t_s * c->rate_hz, half = window_s * c->rate_hz / 2, sum = 0, weights = 0;
    for (long i = lround(ceil(centre - half)); i <= lround(floor(centre + half)); i++) {
        double w = 1 + cos(M_PI * ((double)i - centre) / half);
        double x = i >= 0 && (size_t)i < c->n ? c->samples[i] : 0;
        sum += w * x * x;
        weights += w;
    }
    return sum > 0 ? 10 * log10(sum / weights) : -INFINITY;
}

/* Level that the act asks for over the same kind of window; NaN where voice sets in or ends. */
static double asked_db(const act *a, double t_s, double window_s)
{
    double sum = 0, weights = 0;
    long centre = lround(t_s / CHART_STEP_S), half = lround(window_s / 2 / CHART_STEP_S);
    for (long k = centre - half; k <= centre + half; k++) {
        if (k < 0 || (size_t)k >= a->n || a->line.gate[k] < 0.99)
            return (double)NAN;
        double w = 1 + cos(M_PI * (double)(k - centre) / (double)(half + 1));
        sum += w * pow(10, a->level_db[k] / 10);
        weights += w;
    }
    return 10 * log10(sum / weights);
}

/* Takes out what is left between the level asked for and the sound's: the tract moves, breath adds
 * its own power, cycles differ. Corrections are slow, and held where there is nothing to go by. */
static void mend(const act *a, clip *c)
{
    const double every_s = 0.01, window_s = 0.06;
    size_t n = (size_t)((double)a->n * CHART_STEP_S / every_s) + 2;
    double *off = array_filled(n, (double)NAN), last = 0;
    for (size_t i = 0; i < n; i++) {
        double t = (double)i * every_s, asked = asked_db(a, t, window_s);
        if (!isnan(asked))
            off[i] = fmin(fmax(asked - clip_level_db(c, t, window_s), -8), 8);
    }
    for (size_t i = n; i-- > 0;)
        off[i] = isnan(off[i]) ? last : (last = off[i]);
    for (size_t j = 0; j < c->n; j++) {
        double at = (double)j / c->rate_hz / every_s;
        size_t i = (size_t)at;
        double share = at - (double)i;
        c->samples[j] *= db((1 - share) * off[i] + share * off[i + 1]);
    }
    free(off);
}

static void resample(clip *c, int to_hz)
{
    if (c->rate_hz == to_hz)
        return;
    size_t n = (size_t)((double)c->n * to_hz / c->rate_hz), done = 0;
    double *out = xcalloc(n, sizeof *out);
    soxr_io_spec_t io = soxr_io_spec(SOXR_FLOAT64_I, SOXR_FLOAT64_I);
    soxr_quality_spec_t quality = soxr_quality_spec(SOXR_VHQ, 0);
    soxr_error_t failed = soxr_oneshot(c->rate_hz, to_hz, 1, c->samples, c->n, NULL, out, n, &done,
                                       &io, &quality, NULL);
    assert(!failed);
    (void)failed;
    free(c->samples);
    *c = (clip){n, to_hz, out};
}

clip render_clean(const vocalist *v, const act *a, int take)
{
    int rate = v->rate_hz;
    while (rate < LEAST_RATE_HZ)
        rate += v->rate_hz;
    cycle *cycles;
    size_t n_cycles = render_cycles(v, a, take, &cycles);
    size_t n = (size_t)((double)a->n * CHART_STEP_S * rate);
    double *opening = xcalloc(n + 1, sizeof *opening);
    clip voice = render_source(a, cycles, n_cycles, rate, opening);
    through_throat(a, opening, &voice);
    radiate(&voice);
    clip breath = air(v, a, take, &voice, opening);
    for (size_t j = 0; j < voice.n; j++)
        voice.samples[j] += breath.samples[j];
    mend(a, &voice);
    hiss(v, a, take, &voice);
    resample(&voice, v->rate_hz);
    clip_clear(&breath);
    free(opening);
    free(cycles);
    return voice;
}

void clip_clear(clip *c)
{
    free(c->samples);
    *c = (clip){0};
}
