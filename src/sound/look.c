/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/look.h"

#include <gsl/gsl_fft_halfcomplex.h>
#include <gsl/gsl_fft_real.h>
#include <gsl/gsl_fit.h>
#include <math.h>
#include <string.h>

enum { HARMONICS_MOST = 10 };
static const double alike = 0.06; /* by less a peak is no higher than the one before */
static const double pitch_lo_hz = 60, pitch_hi_hz = 1500;
static const double low_hz = 50, pitch_band_hz = 2500, high_hz = 4000;
static const double faintest_db = 45; /* harmonics this far under the strongest are noise */

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

looker looker_new(double rate_hz)
{
    looker l = {.rate_hz = rate_hz};
    l.frame = rate_hz < 12000 ? LOOK_FRAME_MOST / 2 : LOOK_FRAME_MOST;
    l.fft = 2 * l.frame;
    for (size_t i = 0; i < l.frame; i++)
        l.window_acf[i] = l.window[i] = 1 - cos(2 * M_PI * ((double)i + 0.5) / (double)l.frame);
    gsl_fft_real_radix2_transform(l.window_acf, 1, l.fft);
    double mean = l.window_acf[0];
    correlate(l.window_acf, l.fft, 1, l.fft);
    for (size_t i = 0; i < l.fft; i++) /* the mean is part of a window's own correlation */
        l.window_acf[i] += mean * mean / (double)l.fft;
    return l;
}

static size_t bin_of(const looker *w, double hz)
{
    double bin = hz / w->rate_hz * (double)w->fft, last = (double)w->fft / 2 - 1;
    return (size_t)fmin(bin, last);
}

/* The first peak of a normalised correlation between the limits of pitch that is nearly as high as
 * any: several periods are alike, too. */
static void find_period(const looker *w, const double *acf, look *l)
{
    size_t hi = (size_t)(w->rate_hz / pitch_lo_hz);
    double first = 0;
    for (size_t i = (size_t)(w->rate_hz / pitch_hi_hz); acf[0] > 0 && i <= hi; i++) {
        if (acf[i] < acf[i - 1] || acf[i] < acf[i + 1])
            continue;
        double r = acf[i] / w->window_acf[i] / (acf[0] / w->window_acf[0]);
        l->pitched = fmax(l->pitched, fmin(r, 1));
        if (l->pitched > first + alike) {
            first = l->pitched;
            l->period = (double)i;
        }
    }
}

static double band_power(const looker *w, const double *a, double lo_hz, double hi_hz)
{
    double sum = 0;
    for (size_t k = bin_of(w, lo_hz) + 1; k <= bin_of(w, hi_hz); k++)
        sum += a[k] * a[k] + a[w->fft - k] * a[w->fft - k];
    return sum;
}

/* Standard deviation of the harmonics' levels about a straight line over the logarithm of their
 * number, and whether the first is the strongest. */
static void see_harmonics(const looker *w, const double *spectrum, look *l)
{
    double hz = w->rate_hz / l->period;
    double x[HARMONICS_MOST], y[HARMONICS_MOST], most = 0, c0, v00, v01, v11, left;
    size_t n = 0;
    for (int h = 1; h <= HARMONICS_MOST && (h + 0.5) * hz <= fmin(high_hz, 0.45 * w->rate_hz);
         h++) {
        double power = band_power(w, spectrum, (h - 0.5) * hz, (h + 0.5) * hz);
        l->falls = h == 1 || (l->falls && power <= most);
        most = fmax(most, power);
    }
    for (int h = 1; h <= HARMONICS_MOST && (h + 0.5) * hz <= fmin(high_hz, 0.45 * w->rate_hz);
         h++) {
        double power = band_power(w, spectrum, (h - 0.5) * hz, (h + 0.5) * hz);
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

look look_at(const looker *w, const double *x, double *a, double *spectrum)
{
    double mean = 0;
    look l = {.bumps_db = (double)NAN};
    for (size_t i = 0; i < w->frame; i++)
        mean += x[i] / (double)w->frame;
    for (size_t i = 0; i < w->fft; i++)
        a[i] = i < w->frame ? w->window[i] * (x[i] - mean) : 0;
    gsl_fft_real_radix2_transform(a, 1, w->fft);
    memcpy(spectrum, a, w->fft * sizeof *a);
    l.power = band_power(w, a, low_hz, fmin(high_hz, 0.45 * w->rate_hz));
    correlate(a, w->fft, bin_of(w, low_hz), bin_of(w, pitch_band_hz));
    find_period(w, a, &l);
    if (l.period > 0)
        see_harmonics(w, spectrum, &l);
    return l;
}

/* The harmonic of a note of hz without the noise beside it, a tenth of that at the least. */
static double harmonic_power(const looker *w, const double *spectrum, int h, double hz)
{
    double in = band_power(w, spectrum, (h - 0.25) * hz, (h + 0.25) * hz);
    double beside = 0.5 * (band_power(w, spectrum, (h - 0.75) * hz, (h - 0.25) * hz) +
                           band_power(w, spectrum, (h + 0.25) * hz, (h + 0.75) * hz));
    return fmax(in - beside, 0.1 * beside);
}

void look_together(const looker *w, size_t n, const double *acf, const double *spectra, look *looks)
{
    const look *best = looks;
    for (size_t k = 1; k < n; k++)
        best = looks[k].pitched > best->pitched ? &looks[k] : best;
    size_t lo = (size_t)floor(best->period * (1 - LOOK_SAME_PERIOD));
    size_t hi = (size_t)ceil(best->period * (1 + LOOK_SAME_PERIOD));
    for (size_t k = 0; k < n && best->period > 0; k++) {
        const double *a = acf + k * w->fft, *s = spectra + k * w->fft;
        double hz = w->rate_hz / best->period;
        for (size_t i = lo; a[0] > 0 && i <= hi; i++)
            looks[k].with =
                fmax(looks[k].with, a[i] / w->window_acf[i] / (a[0] / w->window_acf[0]));
        looks[k].second_db = 10 * log10(harmonic_power(w, s, 2, hz) / harmonic_power(w, s, 1, hz));
    }
}
