/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/channels.h"

#include "base/array.h"

#include <assert.h>
#include <gsl/gsl_fft_halfcomplex.h>
#include <gsl/gsl_fft_real.h>
#include <gsl/gsl_fit.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

enum { FRAME_MOST = 1024, FFT_MOST = 2 * FRAME_MOST, HARMONICS_MOST = 10 };
static const int plain_rate_hz = 16000; /* faster sound is averaged down to about this */
static const double sung_at = 0.85;
static const double alike = 0.06; /* by less a peak is no higher than the one before */
static const double pitch_lo_hz = 60, pitch_hi_hz = 1500;
static const double low_hz = 50, pitch_band_hz = 2500, high_hz = 4000;
static const double faintest_db = 45; /* harmonics this far under the strongest are noise */
static const double active_db = 30;   /* looks this far under a channel's loudest are pauses */
static const double same_period = 0.03;
static const double egg_bumps_db = 5, egg_less_db = 1.5, egg_looks = 0.25;
static const double egg_first = 0.8;    /* of the looks, the first harmonic is the strongest */
static const double egg_steepest = -18; /* dB an octave */
static const double sung_more = 0.3, heard_db = 40;

typedef struct look {
    double power;    /* of the frame */
    double pitched;  /* autocorrelation at the period, 0..1 */
    double period;   /* in samples */
    double bumps_db; /* of its harmonics about a straight fall; NaN with fewer than four */
    double slope;    /* of that fall, dB an octave */
    bool falls;      /* the first of them is the strongest */
} look;

struct channels {
    int n, step; /* step: samples that are averaged into one */
    double rate_hz;
    size_t frame, fft;
    double *sum, *square; /* [n] over all samples heard */
    double samples;
    double *now;      /* [n][frame] the look's first averaged samples */
    double *averaged; /* [n] what has come of the next */
    size_t filled, in_step, heard;
    look *looks; /* [n_looks][n] */
    size_t n_looks;
    double window[FRAME_MOST], window_acf[FFT_MOST];
};

/* a[2 * n], the second half zeros: becomes its autocorrelation. `band` bins are kept. */
static void correlate(double *a, size_t fft, size_t first, size_t last)
{
    a[0] = a[fft / 2] = 0;
    for (size_t k = 1; k < fft / 2; k++) {
        bool kept = k >= first && k <= last;
        a[k] = kept ? a[k] * a[k] + a[fft - k] * a[fft - k] : 0;
        a[fft - k] = 0;
    }
    gsl_fft_halfcomplex_radix2_inverse(a, 1, fft);
}

channels *channels_new(int rate_hz, int n)
{
    assert(rate_hz >= 8000 && n >= 1);
    channels *c = xcalloc(1, sizeof *c);
    c->n = n;
    c->step = rate_hz > plain_rate_hz ? rate_hz / plain_rate_hz : 1;
    c->rate_hz = (double)rate_hz / c->step;
    c->frame = c->rate_hz < 12000 ? FRAME_MOST / 2 : FRAME_MOST;
    c->fft = 2 * c->frame;
    c->sum = array_filled((size_t)n, 0);
    c->square = array_filled((size_t)n, 0);
    c->averaged = array_filled((size_t)n, 0);
    c->now = xcalloc((size_t)n * c->frame, sizeof *c->now);
    c->looks = xcalloc((size_t)n * CHANNELS_LOOKS, sizeof *c->looks);
    for (size_t i = 0; i < c->frame; i++)
        c->window_acf[i] = c->window[i] = 1 - cos(2 * M_PI * ((double)i + 0.5) / (double)c->frame);
    gsl_fft_real_radix2_transform(c->window_acf, 1, c->fft);
    double mean = c->window_acf[0];
    correlate(c->window_acf, c->fft, 1, c->fft);
    for (size_t i = 0; i < c->fft; i++) /* the mean is part of a window's own correlation */
        c->window_acf[i] += mean * mean / (double)c->fft;
    return c;
}

void channels_free(channels *c)
{
    if (!c)
        return;
    free(c->sum);
    free(c->square);
    free(c->averaged);
    free(c->now);
    free(c->looks);
    free(c);
}

void channels_hear(channels *c, const float *frames, size_t n)
{
    size_t all = (size_t)c->n;
    for (size_t i = 0; i < n; i++) {
        bool whole = ++c->in_step == (size_t)c->step;
        for (size_t k = 0; k < all; k++) {
            float f = frames[i * all + k];
            double x = isfinite(f) ? (double)f : 0;
            c->sum[k] += x;
            c->square[k] += x * x;
            c->averaged[k] += x / c->step;
            if (!whole)
                continue;
            if (c->filled < c->frame)
                c->now[k * c->frame + c->filled] = c->averaged[k];
            c->averaged[k] = 0;
        }
        if (whole) {
            c->in_step = 0;
            c->filled += c->filled < c->frame;
        }
    }
    c->samples += (double)n;
    c->heard += n;
}

static size_t bin_of(const channels *c, double hz)
{
    double bin = hz / c->rate_hz * (double)c->fft, last = (double)c->fft / 2 - 1;
    return (size_t)fmin(bin, last);
}

/* The first peak of a normalised correlation between the limits of pitch that is nearly as high as
 * any: several periods are alike, too. */
static void find_period(const channels *c, const double *acf, look *l)
{
    size_t hi = (size_t)(c->rate_hz / pitch_lo_hz);
    double first = 0;
    for (size_t i = (size_t)(c->rate_hz / pitch_hi_hz); acf[0] > 0 && i <= hi; i++) {
        if (acf[i] < acf[i - 1] || acf[i] < acf[i + 1])
            continue;
        double r = acf[i] / c->window_acf[i] / (acf[0] / c->window_acf[0]);
        l->pitched = fmax(l->pitched, fmin(r, 1));
        if (l->pitched > first + alike) {
            first = l->pitched;
            l->period = (double)i;
        }
    }
}

static double band_power(const channels *c, const double *a, double lo_hz, double hi_hz)
{
    double sum = 0;
    for (size_t k = bin_of(c, lo_hz) + 1; k <= bin_of(c, hi_hz); k++)
        sum += a[k] * a[k] + a[c->fft - k] * a[c->fft - k];
    return sum;
}

/* Standard deviation of the harmonics' levels about a straight line over the logarithm of their
 * number, and whether the first is the strongest. */
static void see_harmonics(const channels *c, const double *spectrum, look *l)
{
    double hz = c->rate_hz / l->period;
    double x[HARMONICS_MOST], y[HARMONICS_MOST], most = 0, c0, v00, v01, v11, left;
    size_t n = 0;
    for (int h = 1; h <= HARMONICS_MOST && (h + 0.5) * hz <= fmin(high_hz, 0.45 * c->rate_hz);
         h++) {
        double power = band_power(c, spectrum, (h - 0.5) * hz, (h + 0.5) * hz);
        l->falls = h == 1 || (l->falls && power <= most);
        most = fmax(most, power);
    }
    for (int h = 1; h <= HARMONICS_MOST && (h + 0.5) * hz <= fmin(high_hz, 0.45 * c->rate_hz);
         h++) {
        double power = band_power(c, spectrum, (h - 0.5) * hz, (h + 0.5) * hz);
        if (power <= most * pow(10, -faintest_db / 10))
            continue;
        x[n] = log2(h);
        y[n++] = 10 * log10(power);
    }
    if (n < 4)
        return;
    gsl_fit_linear(x, 1, y, 1, n, &c0, &l->slope, &v00, &v01, &v11, &left);
    l->bumps_db = sqrt(left / (double)n);
}

static look look_at(const channels *c, const double *x)
{
    double a[FFT_MOST] = {0}, spectrum[FFT_MOST], mean = 0;
    look l = {.bumps_db = (double)NAN};
    for (size_t i = 0; i < c->frame; i++)
        mean += x[i] / (double)c->frame;
    for (size_t i = 0; i < c->frame; i++)
        a[i] = c->window[i] * (x[i] - mean);
    gsl_fft_real_radix2_transform(a, 1, c->fft);
    memcpy(spectrum, a, c->fft * sizeof *a);
    l.power = band_power(c, a, low_hz, fmin(high_hz, 0.45 * c->rate_hz));
    correlate(a, c->fft, bin_of(c, low_hz), bin_of(c, pitch_band_hz));
    find_period(c, a, &l);
    if (l.period > 0)
        see_harmonics(c, spectrum, &l);
    return l;
}

void channels_end_look(channels *c)
{
    assert(c->n_looks < CHANNELS_LOOKS || !c->heard);
    if (c->heard) {
        for (size_t k = 0; k < (size_t)c->n; k++) {
            double *x = c->now + k * c->frame;
            for (size_t i = c->filled; i < c->frame; i++)
                x[i] = 0;
            c->looks[c->n_looks * (size_t)c->n + k] = look_at(c, x);
            c->averaged[k] = 0;
        }
        c->n_looks++;
    }
    c->heard = c->filled = c->in_step = 0;
}

static const look *look_of(const channels *c, size_t i, int k)
{
    return &c->looks[i * (size_t)c->n + (size_t)k];
}

static double loudest_look(const channels *c, int k)
{
    double most = 0;
    for (size_t i = 0; i < c->n_looks; i++)
        most = fmax(most, look_of(c, i, k)->power);
    return most;
}

static double variance_of(const channels *c, int k)
{
    double n = fmax(c->samples, 1), mean = c->sum[k] / n;
    return fmax(c->square[k] / n - mean * mean, 0);
}

static bool sung(const look *l, double loudest)
{
    return l->pitched >= sung_at && l->power > loudest * pow(10, -active_db / 10);
}

/* Share of the looks, pauses left out, that have one pitch. */
static double sung_share(const channels *c, int k)
{
    double loudest = loudest_look(c, k), active = 0, n = 0;
    for (size_t i = 0; i < c->n_looks; i++) {
        active += look_of(c, i, k)->power > loudest * pow(10, -active_db / 10);
        n += sung(look_of(c, i, k), loudest);
    }
    return active > 0 ? n / active : 0;
}

/* How much smoother than the microphone `m` channel k is, dB beyond what an EGG has to be; 0 where
 * it cannot be the EGG beside it. */
static double smoother(const channels *c, int k, int m)
{
    double *less = xmalloc(c->n_looks, sizeof *less), *own = xmalloc(c->n_looks, sizeof *own);
    double *slope = xmalloc(c->n_looks, sizeof *slope), either = 0, falls = 0, result = 0;
    double loud_k = loudest_look(c, k), loud_m = loudest_look(c, m);
    size_t n = 0;
    for (size_t i = 0; i < c->n_looks; i++) {
        const look *a = look_of(c, i, k), *b = look_of(c, i, m);
        bool sung_a = sung(a, loud_k), sung_b = sung(b, loud_m);
        either += sung_a || sung_b;
        if (!sung_a || !sung_b || fabs(a->period / b->period - 1) > same_period)
            continue;
        if (isnan(a->bumps_db) || isnan(b->bumps_db))
            continue;
        falls += a->falls;
        own[n] = a->bumps_db;
        slope[n] = a->slope;
        less[n++] = b->bumps_db - a->bumps_db;
    }
    double seen = (double)n;
    bool egg = n && seen >= egg_looks * either && falls >= egg_first * seen &&
               array_median(own, n) <= egg_bumps_db && array_median(slope, n) >= egg_steepest;
    if (egg)
        result = fmax(0, array_median(less, n) - egg_less_db);
    free(less);
    free(own);
    free(slope);
    return result;
}

static int guess_egg(const channels *c, int microphone)
{
    int egg = 0;
    double most = 0;
    for (int k = 0; k < c->n; k++)
        for (int m = 0; m < c->n; m++) {
            if (k == m || k + 1 == microphone || (microphone && m + 1 != microphone))
                continue;
            double d = smoother(c, k, m);
            if (d > most) {
                most = d;
                egg = k + 1;
            }
        }
    return egg;
}

static int guess_microphone(const channels *c, int egg)
{
    int best = egg == 1 ? 1 : 0;
    for (int k = 0; k < c->n; k++)
        if (k + 1 != egg && variance_of(c, k) > variance_of(c, best))
            best = k;
    int voice = best;
    double least_share = sung_share(c, best) + sung_more;
    double loudest = variance_of(c, best) * pow(10, -heard_db / 10);
    for (int k = 0; k < c->n; k++)
        if (k + 1 != egg && variance_of(c, k) > loudest && sung_share(c, k) >= least_share) {
            loudest = variance_of(c, k);
            voice = k;
        }
    return voice + 1;
}

void channels_choose(const channels *c, int named_microphone, int named_egg, int *microphone,
                     int *egg)
{
    *egg = named_egg ? named_egg : guess_egg(c, named_microphone);
    *microphone = named_microphone ? named_microphone : guess_microphone(c, *egg);
}
