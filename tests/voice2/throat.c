/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/throat.h"

#include <complex.h>
#include <math.h>
#include <string.h>

static const char vowels[] = "aeiou";
static const double spoken[2][5][THROAT_VOWEL] = {
    {{730, 1090, 2440}, {530, 1840, 2480}, {270, 2290, 3010}, {497, 910, 2459}, {300, 870, 2240}},
    {{850, 1220, 2810}, {610, 2330, 2990}, {310, 2790, 3310}, {555, 1035, 2828}, {370, 950, 2670}},
};

enum { PAIR = THROAT_FORMANTS }; /* the section of pole and zero */

bool throat_vowel(bool woman, char vowel, double f_hz[THROAT_VOWEL])
{
    const char *at = vowel ? strchr(vowels, vowel) : NULL;
    if (at)
        memcpy(f_hz, spoken[woman][at - vowels], sizeof spoken[0][0]);
    return at != NULL;
}

void throat_bandwidths(throat *t, double wide)
{
    for (int i = 0; i < THROAT_FORMANTS; i++) {
        double x = t->f_hz[i] / 500;
        double b = i == 0 ? 15 / (x * x) + 20 * sqrt(x) + 5 * x * x : 35 + 20 * x + 1.2 * x * x;
        t->b_hz[i] = wide * b;
    }
}

static double damped(const throat *t, int i, double open)
{
    return t->b_hz[i] + (i == 0 ? 1 : i == 1 ? 0.33 : 0) * t->open_hz * open;
}

/* A low-pass resonator, gain 1 at 0 Hz; x is frequency re its own. */
static double complex low(double x, double k)
{
    double re = 1 - x * x, im = k * x, over = 1 / (re * re + im * im);
    return re * over - I * (im * over);
}

static double warped(double f_hz, double rate_hz)
{
    return tan(M_PI * f_hz / rate_hz);
}

static void formants_warped(const throat *t, double rate_hz, double own[THROAT_FORMANTS])
{
    for (int i = 0; i < THROAT_FORMANTS; i++)
        own[i] = warped(t->f_hz[i], rate_hz);
}

/* At the warped frequency f, the formants' own being own[]. */
static double complex cascade(const throat *t, double open, double f,
                              const double own[THROAT_FORMANTS])
{
    double complex h = 1;
    for (int i = 0; i < THROAT_FORMANTS; i++)
        h *= low(f / own[i], damped(t, i, open) / t->f_hz[i]);
    return h;
}

/* Amplitudes of the parallel branches: at each formant about what a cascade would give there. */
static void branches(const throat *t, double rate_hz, double amp[THROAT_FORMANTS])
{
    double own[THROAT_FORMANTS];
    formants_warped(t, rate_hz, own);
    for (int i = 0; i < THROAT_FORMANTS; i++) {
        double peak = cabs(cascade(t, 0, own[i], own)) * t->b_hz[i] / t->f_hz[i];
        amp[i] = (i % 2 ? -1 : 1) * peak * pow(10, t->odd_db[i] / 20);
    }
}

/* F1's branch is a low-pass, the others are band-passes; amp[] is that of branches(). */
static double complex parallel(const throat *t, double open, double f,
                               const double own[THROAT_FORMANTS], const double amp[THROAT_FORMANTS])
{
    double complex sum = 0;
    for (int i = 0; i < THROAT_FORMANTS; i++) {
        double x = f / own[i];
        double complex h = low(x, damped(t, i, open) / t->f_hz[i]);
        sum += amp[i] * h * (i == 0 ? 1 : I * x);
    }
    return sum;
}

static double complex pair(const throat *t, double f, double rate_hz)
{
    if (t->pole_hz <= 0)
        return 1;
    return low(f / warped(t->pole_hz, rate_hz), t->pair_hz / t->pole_hz) /
           low(f / warped(t->zero_hz, rate_hz), t->pair_hz / t->zero_hz);
}

void throat_gains(const throat *t, double open, double f_hz, double rate_hz, size_t n, double *gain)
{
    double own[THROAT_FORMANTS], amp[THROAT_FORMANTS] = {0};
    formants_warped(t, rate_hz, own);
    if (t->parallel)
        branches(t, rate_hz, amp);
    for (size_t k = 0; k < n; k++) {
        double f = warped((double)(k + 1) * f_hz, rate_hz);
        double complex h = t->parallel ? parallel(t, open, f, own, amp) : cascade(t, open, f, own);
        gain[k] = cabs(h * pair(t, f, rate_hz));
    }
}

double throat_gain(const throat *t, double open, double f_hz, double rate_hz)
{
    double gain;
    throat_gains(t, open, f_hz, rate_hz, 1, &gain);
    return gain;
}

typedef struct section { /* outputs of one state-variable filter */
    double low, band, high;
} section;

static section step(throat_run *r, int i, double g, double k, double x)
{
    double a = 1 / (1 + g * (g + k));
    double v3 = x - r->s2[i];
    double v1 = a * r->s1[i] + a * g * v3, v2 = r->s2[i] + g * v1;
    r->s1[i] = 2 * v1 - r->s1[i];
    r->s2[i] = 2 * v2 - r->s2[i];
    return (section){v2, v1, x - k * v1 - v2};
}

typedef struct glide { /* change a sample */
    double g[THROAT_SECTIONS], k[THROAT_SECTIONS], amp[THROAT_FORMANTS];
} glide;

static glide glide_to(throat_run *r, const throat *t, double rate_hz, size_t n)
{
    glide d = {0};
    double amp[THROAT_FORMANTS];
    branches(t, rate_hz, amp);
    for (int i = 0; i < THROAT_SECTIONS; i++) {
        bool formant = i < THROAT_FORMANTS, any = formant || t->pole_hz > 0;
        double f = formant ? t->f_hz[i] : t->pole_hz;
        double g = any ? warped(f, rate_hz) : 0;
        double k = formant ? t->b_hz[i] / f : any ? t->pair_hz / f : 0;
        if (!r->set) {
            r->g[i] = g;
            r->k[i] = k;
        }
        d.g[i] = (g - r->g[i]) / (double)n;
        d.k[i] = (k - r->k[i]) / (double)n;
        if (formant && !r->set)
            r->amp[i] = amp[i];
        if (formant)
            d.amp[i] = (amp[i] - r->amp[i]) / (double)n;
    }
    r->set = true;
    return d;
}

static double sample(throat_run *r, const throat *t, double ratio, double open, double x)
{
    double sum = 0, y = x;
    for (int i = 0; i < THROAT_FORMANTS; i++) {
        double more = i == 0 ? 1 : i == 1 ? 0.33 : 0;
        double k = r->k[i] + more * t->open_hz * open / t->f_hz[i];
        section s = step(r, i, r->g[i], k, t->parallel ? x : y);
        sum += r->amp[i] * (i == 0 ? s.low : s.band);
        y = s.low;
    }
    y = t->parallel ? sum : y;
    if (t->pole_hz <= 0)
        return y;
    section s = step(r, PAIR, r->g[PAIR], r->k[PAIR], y);
    /* The zero's numerator on the pole's own scale of frequency: ratio is pole over zero. */
    return s.low + ratio * t->pair_hz / t->zero_hz * s.band + ratio * ratio * s.high;
}

void throat_filter(throat_run *run, const throat *t, double rate_hz, const double *opening,
                   double *samples, size_t n)
{
    if (n == 0)
        return;
    glide d = glide_to(run, t, rate_hz, n);
    double ratio = t->pole_hz > 0 ? warped(t->pole_hz, rate_hz) / warped(t->zero_hz, rate_hz) : 1;
    for (size_t j = 0; j < n; j++) {
        for (int i = 0; i < THROAT_SECTIONS; i++) {
            run->g[i] += d.g[i];
            run->k[i] += d.k[i];
            if (i < THROAT_FORMANTS)
                run->amp[i] += d.amp[i];
        }
        samples[j] = sample(run, t, ratio, opening[j], samples[j]);
    }
}
