/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/sing.h"

#include "base/array.h"
#include "base/note.h"
#include "voice/dice.h"

#include <gsl/gsl_sf_bessel.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define LEAST_RATE_HZ 160000.0
#define DOUBLED_STRETCH 0.1 /* of a period, where every other one is silent */

typedef struct pulses {
    size_t n, room;
    sing_pulse *items;
} pulses;

static double phase_at(const double *phase, size_t n, double t)
{
    double x = t / SCORE_STEP_S;
    size_t k = (size_t)x;
    if (k + 1 >= n)
        return phase[n - 1];
    return phase[k] + (x - (double)k) * (phase[k + 1] - phase[k]);
}

/* The time at which the phase reaches `want`, searched from step *k on; the end when it never does.
 */
static double time_of(const double *phase, size_t n, double want, size_t *k)
{
    while (*k + 1 < n && phase[*k + 1] < want)
        (*k)++;
    if (*k + 1 >= n)
        return (double)n * SCORE_STEP_S;
    double share = (want - phase[*k]) / (phase[*k + 1] - phase[*k]);
    return ((double)*k + share) * SCORE_STEP_S;
}

/* The pulses of a take: one a period of the integrated f0, each period off by the jitter. */
static pulses pulses_place(const singer *s, const performance *p, int take)
{
    gsl_rng *r = dice_new(s->seed, (uint64_t)take, DICE_SOURCE);
    double *phase = xmalloc(p->n, sizeof *phase);
    phase[0] = 0;
    for (size_t k = 1; k < p->n; k++) {
        double hz = (note_to_hz(p->pitch_st[k - 1]) + note_to_hz(p->pitch_st[k])) / 2;
        phase[k] = phase[k - 1] + hz * SCORE_STEP_S;
    }
    pulses all = {0};
    double end = (double)(p->n - 1) * SCORE_STEP_S, t = 0;
    bool softer = false;
    size_t k = 0;
    while (t < end) {
        size_t now = (size_t)(t / SCORE_STEP_S);
        double stretch = 1 + dice_normal(r, p->jitter[now]);
        stretch += DOUBLED_STRETCH * (softer ? -p->doubled[now] : p->doubled[now]);
        double next = time_of(phase, p->n, phase_at(phase, p->n, t) + fmax(stretch, 0.5), &k);
        sing_pulse one = {.at_s = t, .end_s = next, .more_db = dice_normal(r, s->shimmer_db)};
        one.step = (size_t)((t + next) / 2 / SCORE_STEP_S);
        if (softer && p->doubled[now] > 0)
            one.more_db += 20 * log10(1 - fmin(p->doubled[now], 0.9));
        softer = !softer;
        if (next < end && p->gate[one.step] > 0) {
            array_reserve((void **)&all.items, &all.room, all.n + 1, sizeof *all.items);
            all.items[all.n++] = one;
        }
        t = next;
    }
    free(phase);
    gsl_rng_free(r);
    return all;
}

size_t sing_pulses(const singer *s, const performance *p, int take, sing_pulse **out)
{
    pulses all = pulses_place(s, p, take);
    *out = all.items;
    return all.n;
}

size_t sing_pulse_times(const singer *s, const performance *p, int take, double **times)
{
    pulses all = pulses_place(s, p, take);
    *times = xmalloc(all.n, sizeof **times);
    for (size_t i = 0; i < all.n; i++)
        (*times)[i] = all.items[i].at_s;
    free(all.items);
    return all.n;
}

/* Adds one pulse to the box averages of the flow's derivative, and its flow (0..1) to `flow`. */
static void pulse_add(const sing_pulse *one, const lf_pulse *lf, double ee, double rate, size_t n,
                      double *over, double *flow)
{
    double t0 = one->end_s - one->at_s, scale = ee * t0 * rate;
    size_t i = (size_t)(one->at_s * rate), last = (size_t)(one->end_s * rate);
    double before = 0;
    for (; i <= last && i < n; i++) {
        double now = lf_flow(lf, ((double)(i + 1) / rate - one->at_s) / t0);
        over[i] += scale * (now - before);
        flow[i] += now / lf->u0;
        before = now;
    }
}

/* Kaiser window low-pass, stop band 60 dB down, cutting at 0.47 of the output rate. */
static double *low_pass(int by, size_t *half)
{
    *half = (size_t)(by * 36);
    double *h = xmalloc(2 * *half + 1, sizeof *h), sum = 0, cut = 0.47 / by, beta = 6;
    for (size_t i = 0; i <= 2 * *half; i++) {
        double x = (double)i - (double)*half, edge = x / (double)*half;
        double sinc = x == 0 ? 2 * cut : sin(2 * M_PI * cut * x) / (M_PI * x);
        h[i] = sinc * gsl_sf_bessel_I0(beta * sqrt(fmax(0, 1 - edge * edge)));
        sum += h[i];
    }
    for (size_t i = 0; i <= 2 * *half; i++)
        h[i] /= sum;
    return h;
}

/* Four of the output at once: each sum waits for its last number, and none for another's. */
static void decimate(const double *over, size_t n_over, int by, double *out, size_t n)
{
    enum { BESIDE = 4 };
    size_t half, step = (size_t)by;
    double *h = low_pass(by, &half), *edged = xcalloc(n_over + 2 * half + BESIDE * step, sizeof *h);
    memcpy(edged + half, over, n_over * sizeof *over);
    for (size_t j = 0; j < n; j += BESIDE) {
        const double *x = edged + j * step;
        double sum[BESIDE] = {0};
        for (size_t i = 0; i <= 2 * half; i++)
            for (size_t k = 0; k < BESIDE; k++)
                sum[k] += x[i + k * step] * h[i];
        for (size_t k = 0; k < BESIDE && j + k < n; k++)
            out[j + k] = sum[k];
    }
    free(h);
    free(edged);
}

/* The source at the output rate, and the glottal flow (0..1) that pulses the breath noise. */
static void source(const singer *s, const performance *p, int take, sound *out, double *flow)
{
    int by = (int)ceil(LEAST_RATE_HZ / s->rate_hz);
    double rate = (double)by * s->rate_hz;
    size_t n_over = out->n * (size_t)by;
    double *over = xcalloc(n_over, sizeof *over), *open = xcalloc(n_over, sizeof *open);
    pulses all = pulses_place(s, p, take);
    for (size_t i = 0; i < all.n; i++) {
        const sing_pulse *one = &all.items[i];
        size_t k = one->step;
        lf_pulse lf = lf_from_rd(p->rd[k], p->ra_factor[k]);
        double db = p->level_db[k] - p->predicted_db[k] + one->more_db;
        pulse_add(one, &lf, pow(10, db / 20), rate, n_over, over, open);
    }
    decimate(over, n_over, by, out->samples, out->n);
    for (size_t j = 0; j < out->n; j++)
        flow[j] = open[j * (size_t)by];
    free(over);
    free(open);
    free(all.items);
}

/* Turbulence: white noise through a first difference that is flat above 1 kHz, part of it in step
 * with the flow, level as the performance says, and the breath taken before. */
static void breath(const singer *s, const performance *p, int take, const double *flow, sound *out)
{
    gsl_rng *r = dice_new(s->seed ^ 0x5eed, (uint64_t)take, DICE_SOURCE);
    double pole = exp(-2 * M_PI * 1000 / s->rate_hz), low = 0;
    double soft = pow(10, (s->boundary.level_db - 32) / 20), loud = 0;
    size_t step = p->n;
    for (size_t j = 0; j < out->n; j++) {
        double white = dice_normal(r, 1);
        low = pole * low + (1 - pole) * white;
        size_t k = (size_t)((double)j / s->rate_hz / SCORE_STEP_S);
        k = k < p->n ? k : p->n - 1;
        if (k != step)
            loud = p->gate[k] > 0 ? pow(10, (p->level_db[k] + p->noise_db[k]) / 20) : 0;
        step = k;
        double voiced = (1 - s->pulsing) + s->pulsing * 1.8 * flow[j];
        out->samples[j] = (white - low) * (voiced * loud + p->breath[k] * soft);
    }
    gsl_rng_free(r);
}

static void through_tract(const singer *s, const performance *p, sound *x)
{
    tract t = s->tract;
    tract_state state = {0};
    tract_tune(&state, &t, s->rate_hz);
    size_t from = 0;
    for (size_t k = 0; k < p->n && from < x->n; k++) {
        size_t to = (size_t)((double)(k + 1) * SCORE_STEP_S * s->rate_hz);
        to = to < x->n ? to : x->n;
        for (int i = 0; i < TRACT_VOWEL; i++) {
            t.f_hz[i] = p->formant_hz[k * TRACT_VOWEL + (size_t)i];
            t.b_hz[i] = p->bandwidth_hz[k * TRACT_VOWEL + (size_t)i];
        }
        tract_glide(&state, &t, s->rate_hz, to - from);
        tract_run(&state, &t, x->samples + from, to - from);
        from = to;
    }
}

/* Gain of white noise of variance 1, high-passed as above, through the tract. */
static double noise_gain(const singer *s)
{
    enum { PROBE = 20000 };
    gsl_rng *r = dice_new(s->seed, 0, DICE_SOURCE);
    tract_state state = {0};
    tract_tune(&state, &s->tract, s->rate_hz);
    double pole = exp(-2 * M_PI * 1000 / s->rate_hz), low = 0, sum = 0;
    for (int j = 0; j < PROBE; j++) {
        double white = dice_normal(r, 1);
        low = pole * low + (1 - pole) * white;
        double y = white - low;
        tract_run(&state, &s->tract, &y, 1);
        sum += y * y;
    }
    gsl_rng_free(r);
    return sqrt(sum / PROBE);
}

double sound_level_db(const sound *s, double t_s, double window_s)
{
    double centre = t_s * s->rate_hz, half = window_s * s->rate_hz / 2;
    long lo = lround(ceil(centre - half)), hi = lround(floor(centre + half));
    double sum = 0, weights = 0;
    for (long i = lo; i <= hi; i++) {
        double w = 0.5 + 0.5 * cos(M_PI * ((double)i - centre) / half);
        double x = i >= 0 && (size_t)i < s->n ? s->samples[i] : 0;
        sum += w * x * x;
        weights += w;
    }
    return weights > 0 && sum > 0 ? 10 * log10(sum / weights) : -INFINITY;
}

/* What is left between the level that was promised and the sound, taken out slowly: drift of the
 * closed form through a moving tract, and the noise's own power. Edges and flips are left alone. */
static void level_mend(const performance *p, sound *x)
{
    enum { EVERY = 10 };
    size_t n = p->n / EVERY + 1;
    double *off = array_filled(n, (double)NAN), last = 0;
    for (size_t i = 0; i < n; i++) {
        size_t k = i * EVERY < p->n ? i * EVERY : p->n - 1;
        double around = 0, flat = 1;
        for (size_t m = k > 25 ? k - 25 : 0; m < k + 25 && m < p->n; m++) {
            around += pow(10, p->level_db[m] / 10) / 50;
            flat = fmin(flat, p->gate[m]);
        }
        if (flat > 0.99)
            off[i] = 10 * log10(around) - sound_level_db(x, (double)k * SCORE_STEP_S, 0.05);
    }
    for (size_t i = n; i-- > 0;) /* before the first value: that value */
        off[i] = isnan(off[i]) ? last : (last = fmin(fmax(off[i], -4), 4));
    double now = off[0];
    for (size_t j = 0; j < x->n; j++) {
        double at = (double)j / x->rate_hz / SCORE_STEP_S / EVERY;
        size_t i = (size_t)at + 1 < n ? (size_t)at : n - 2;
        double goal = off[i] + (at - (double)i) * (off[i + 1] - off[i]);
        now += (goal - now) / (0.01 * x->rate_hz);
        x->samples[j] *= pow(10, now / 20);
    }
    free(off);
}

/* Fricatives and bursts come from the front of the mouth: noise above 3 kHz, softer than vowels. */
static void hiss(const singer *s, const performance *p, int take, sound *x)
{
    gsl_rng *r = dice_new(s->seed ^ 0xf1cc, (uint64_t)take, DICE_SOURCE);
    double level = pow(10, (s->boundary.level_db - dice_between(r, 8, 18)) / 20);
    double pole = exp(-2 * M_PI * 3000 / s->rate_hz), low = 0;
    for (size_t j = 0; j < x->n; j++) {
        double white = dice_normal(r, 1);
        low = pole * low + (1 - pole) * white;
        size_t k = (size_t)((double)j / s->rate_hz / SCORE_STEP_S);
        if (p->hiss[k < p->n ? k : p->n - 1] > 0)
            x->samples[j] += level * p->hiss[k < p->n ? k : p->n - 1] * (white - low);
    }
    gsl_rng_free(r);
}

sound sing(const singer *s, const performance *p, int take)
{
    sound x = {.n = (size_t)((double)p->n * SCORE_STEP_S * s->rate_hz), .rate_hz = s->rate_hz};
    x.samples = xcalloc(x.n, sizeof *x.samples);
    sound noise = x;
    noise.samples = xcalloc(x.n, sizeof *noise.samples);
    double *flow = xcalloc(x.n, sizeof *flow);
    source(s, p, take, &x, flow);
    breath(s, p, take, flow, &noise);
    through_tract(s, p, &x);
    through_tract(s, p, &noise);
    double gain = 1 / noise_gain(s);
    for (size_t j = 0; j < x.n; j++)
        x.samples[j] += gain * noise.samples[j];
    level_mend(p, &x);
    if (s->family >= FAMILY_STILL)
        hiss(s, p, take, &x);
    free(noise.samples);
    free(flow);
    return x;
}

void sound_clear(sound *s)
{
    free(s->samples);
    *s = (sound){0};
}
