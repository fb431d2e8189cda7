/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/tract.h"

#include "base/note.h"
#include "voice/dice.h"

#include <math.h>
#include <string.h>

typedef struct vowel_row {
    double f[TRACT_VOWEL], b[TRACT_VOWEL];
} vowel_row;

static const char vowel_names[] = "aeiou";

/* [voice][vowel]; voices bass, tenor, alto, soprano. */
static const vowel_row sung[4][5] = {
    {{{600, 1040, 2250, 2450, 2750}, {60, 70, 110, 120, 130}},
     {{400, 1620, 2400, 2800, 3100}, {40, 80, 100, 120, 120}},
     {{250, 1750, 2600, 3050, 3340}, {60, 90, 100, 120, 120}},
     {{400, 750, 2400, 2600, 2900}, {40, 80, 100, 120, 120}},
     {{350, 600, 2400, 2675, 2950}, {40, 80, 100, 120, 120}}},
    {{{650, 1080, 2650, 2900, 3250}, {80, 90, 120, 130, 140}},
     {{400, 1700, 2600, 3200, 3580}, {70, 80, 100, 120, 120}},
     {{290, 1870, 2800, 3250, 3540}, {40, 90, 100, 120, 120}},
     {{400, 800, 2600, 2800, 3000}, {40, 80, 100, 120, 120}},
     {{350, 600, 2700, 2900, 3300}, {40, 60, 100, 120, 120}}},
    {{{800, 1150, 2800, 3500, 4950}, {80, 90, 120, 130, 140}},
     {{400, 1600, 2700, 3300, 4950}, {60, 80, 120, 150, 200}},
     {{350, 1700, 2700, 3700, 4950}, {50, 100, 120, 150, 200}},
     {{450, 800, 2830, 3500, 4950}, {70, 80, 100, 130, 135}},
     {{325, 700, 2530, 3500, 4950}, {50, 60, 170, 180, 200}}},
    {{{800, 1150, 2900, 3900, 4950}, {80, 90, 120, 130, 140}},
     {{350, 2000, 2800, 3600, 4950}, {60, 100, 120, 150, 200}},
     {{270, 2140, 2950, 3900, 4950}, {60, 90, 100, 120, 120}},
     {{450, 800, 2830, 3800, 4950}, {40, 80, 100, 120, 120}},
     {{325, 700, 2700, 3800, 4950}, {50, 60, 170, 180, 200}}},
};

/* [woman][vowel] F1..F3; /e/ lies between the published neighbours. F4 and F5 are a tube's. */
static const double spoken[2][5][TRACT_VOWEL] = {
    {{768, 1333, 2522, 3500, 4500},
     {476, 2089, 2691, 3500, 4500},
     {342, 2322, 3000, 3700, 4500},
     {497, 910, 2459, 3400, 4500},
     {378, 997, 2343, 3400, 4500}},
    {{936, 1551, 2815, 4000, 5000},
     {536, 2530, 3047, 4000, 5000},
     {437, 2761, 3372, 4200, 5100},
     {555, 1035, 2828, 3900, 5000},
     {459, 1105, 2735, 3900, 5000}},
};

bool tract_draw(gsl_rng *dice, bool woman, char vowel, int rate_hz, tract *out)
{
    const char *at = vowel ? strchr(vowel_names, vowel) : NULL;
    if (!at)
        return false;
    size_t v = (size_t)(at - vowel_names);
    double high = dice_between(dice, 0, 1);     /* between the deeper and the higher voice */
    double speech = dice_between(dice, 0, 0.7); /* how far from a trained singer's formants */
    double size = dice_between(dice, 0.95, 1.05), wide = dice_between(dice, 0.8, 1.5);
    const vowel_row *lo = &sung[woman ? 2 : 0][v], *hi = &sung[woman ? 3 : 1][v];
    *out = (tract){0};
    for (int i = 0; i < TRACT_VOWEL; i++) {
        double f = (1 - high) * lo->f[i] + high * hi->f[i];
        f = (1 - speech) * f + speech * spoken[woman][v][i];
        out->f_hz[i] = f * size * dice_between(dice, 0.97, 1.03);
        out->b_hz[i] = ((1 - high) * lo->b[i] + high * hi->b[i]) * wide;
    }
    out->spacing_hz = (woman ? 1180 : 1010) * size; /* half the speed of sound over the length */
    tract_extend(out, rate_hz);
    return true;
}

void tract_extend(tract *t, int rate_hz)
{
    t->n = TRACT_VOWEL;
    double f = t->f_hz[t->n - 1] + t->spacing_hz;
    for (; f < 0.48 * rate_hz && t->n < TRACT_MOST; f += t->spacing_hz) {
        t->f_hz[t->n] = f;
        t->b_hz[t->n++] = 100 + 0.06 * f; /* losses grow with frequency */
    }
}

static void coefficients(const tract *t, int i, double rate_hz, double *b, double *c)
{
    double r = exp(-M_PI * t->b_hz[i] / rate_hz);
    *b = 2 * r * cos(2 * M_PI * t->f_hz[i] / rate_hz);
    *c = -r * r;
}

void tract_tune(tract_state *s, const tract *t, double rate_hz)
{
    for (int i = 0; i < t->n; i++) {
        coefficients(t, i, rate_hz, &s->b[i], &s->c[i]);
        s->a[i] = 1 - s->b[i] - s->c[i];
        s->b_step[i] = s->c_step[i] = 0;
    }
}

void tract_glide(tract_state *s, const tract *t, double rate_hz, size_t n)
{
    for (int i = 0; i < TRACT_VOWEL && n > 0; i++) {
        double b, c;
        coefficients(t, i, rate_hz, &b, &c);
        s->b_step[i] = (b - s->b[i]) / (double)n;
        s->c_step[i] = (c - s->c[i]) / (double)n;
    }
}

void tract_run(tract_state *s, const tract *t, double *samples, size_t n)
{
    for (int i = t->n - 1; i >= 0; i--) {
        double b = s->b[i], c = s->c[i], y1 = s->y1[i], y2 = s->y2[i];
        double b_step = s->b_step[i], c_step = s->c_step[i];
        for (size_t k = 0; k < n; k++) {
            b += b_step;
            c += c_step;
            double y = (1 - b - c) * samples[k] + b * y1 + c * y2;
            y2 = y1;
            y1 = y;
            samples[k] = y;
        }
        s->a[i] = 1 - b - c;
        s->b[i] = b;
        s->c[i] = c;
        s->y1[i] = y1;
        s->y2[i] = y2;
    }
}

double tract_gain_db(const tract_state *s, const tract *t, double f_hz, double rate_hz)
{
    double w = 2 * M_PI * f_hz / rate_hz, power = 1;
    double c1 = cos(w), s1 = sin(w), c2 = cos(2 * w), s2 = sin(2 * w);
    for (int i = 0; i < t->n; i++) {
        double re = 1 - s->b[i] * c1 - s->c[i] * c2, im = s->b[i] * s1 + s->c[i] * s2;
        power *= s->a[i] * s->a[i] / (re * re + im * im);
    }
    return 10 * log10(power);
}

double tract_pulses_db(const tract *t, const lf_pulse *pulse, double pitch_st, double rate_hz)
{
    tract_state tuned;
    tract_tune(&tuned, t, rate_hz);
    double f0 = note_to_hz(pitch_st), power = 0, top = fmin(6000, 0.47 * rate_hz);
    for (int h = 1; h * f0 < top; h++) {
        double amplitude = 2 * cabs(lf_harmonic(pulse, h));
        double gain = pow(10, tract_gain_db(&tuned, t, h * f0, rate_hz) / 10);
        power += amplitude * amplitude / 2 * gain;
    }
    return power > 0 ? 10 * log10(power) : -INFINITY;
}
