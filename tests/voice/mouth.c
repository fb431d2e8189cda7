/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/mouth.h"

#include "base/array.h"
#include "voice/dice.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

const char *mouth_name(mouth m)
{
    static const char *const names[MOUTHS] = {"open", "lip trill", "tongue trill", "humming"};
    return names[m];
}

typedef struct trill {
    double hz, cents, leak, open; /* open: share of a cycle */
    double *phase;                /* cycles, one a millisecond */
} trill;

/* Pitch and sound draw the same trill. */
static trill trill_new(mouth m, uint64_t seed, int take, size_t n)
{
    gsl_rng *r = dice_new(seed ^ 0x11b5, (uint64_t)take, DICE_DRIFT);
    bool lips = m == MOUTH_LIPS;
    trill t = {.hz = lips ? dice_between(r, 20, 28) : dice_between(r, 22, 30),
               .cents = dice_between(r, 10, 40),
               .leak = pow(10, -(lips ? dice_between(r, 10, 18) : dice_between(r, 6, 12)) / 20),
               .open = lips ? dice_between(r, 0.4, 0.6) : dice_between(r, 0.6, 0.8),
               .phase = xmalloc(n, sizeof(double))};
    double sum = dice_between(r, 0, 1);
    dice_wander(r, n, 0.001, 0.2, 0.05, t.phase);
    for (size_t k = 0; k < n; k++)
        t.phase[k] = sum += t.hz * (1 + t.phase[k]) / 1000;
    gsl_rng_free(r);
    return t;
}

static bool trilled(mouth m)
{
    return m == MOUTH_LIPS || m == MOUTH_TONGUE;
}

void mouth_pitch(mouth m, uint64_t seed, int take, double *pitch_st, size_t n)
{
    if (!trilled(m))
        return;
    trill t = trill_new(m, seed, take, n);
    for (size_t k = 0; k < n; k++)
        pitch_st[k] += t.cents / 100 * sin(2 * M_PI * t.phase[k]);
    free(t.phase);
}

/* One pole down from hz. */
static void soften(double *x, size_t n, double hz, int rate_hz)
{
    double pole = exp(-2 * M_PI * hz / rate_hz), low = 0;
    for (size_t j = 0; j < n; j++)
        x[j] = low = pole * low + (1 - pole) * x[j];
}

/* Two poles, or two zeros, at hz with a bandwidth; gain 1 at 0. */
static void resonate(double *x, size_t n, double hz, double width_hz, int rate_hz, bool zeros)
{
    double radius = exp(-M_PI * width_hz / rate_hz), c = radius * radius;
    double b = -2 * radius * cos(2 * M_PI * hz / rate_hz), a = 1 + b + c;
    double in[2] = {0, 0}, out[2] = {0, 0};
    for (size_t j = 0; j < n; j++) {
        double now = x[j];
        x[j] = zeros ? (now + b * in[0] + c * in[1]) / a : a * now - b * out[0] - c * out[1];
        in[1] = in[0];
        in[0] = now;
        out[1] = out[0];
        out[0] = x[j];
    }
}

/* The share that is let out at a phase, 0..1: a raised cosine while it is open. */
static double let_out(double phase, double open)
{
    double at = (phase - floor(phase)) / open;
    return at < 1 ? 0.5 - 0.5 * cos(2 * M_PI * at) : 0;
}

static void trill_sound(mouth m, uint64_t seed, int take, double *x, size_t n, int rate_hz)
{
    size_t steps = (size_t)((double)n / rate_hz * 1000) + 2;
    trill t = trill_new(m, seed, take, steps);
    double *shut = xmalloc(n, sizeof *shut);
    for (size_t j = 0; j < n; j++)
        shut[j] = t.leak * x[j];
    soften(shut, n, m == MOUTH_LIPS ? 500 : 2000, rate_hz);
    for (size_t j = 0; j < n; j++) {
        double at = (double)j / rate_hz * 1000;
        size_t k = (size_t)at;
        double phase = t.phase[k] + (at - (double)k) * (t.phase[k + 1] - t.phase[k]);
        double out = let_out(phase, t.open);
        x[j] = out * x[j] + (1 - out) * shut[j];
    }
    free(shut);
    free(t.phase);
}

static void hum(uint64_t seed, double *x, size_t n, int rate_hz)
{
    gsl_rng *r = dice_new(seed ^ 0x4b11, 0, DICE_SINGER);
    double nose_hz = dice_between(r, 220, 320), mouth_hz = dice_between(r, 700, 1200);
    gsl_rng_free(r);
    resonate(x, n, mouth_hz, 150, rate_hz, true);
    for (int k = 0; k < 2; k++) /* against the zeros' rise */
        soften(x, n, mouth_hz, rate_hz);
    resonate(x, n, nose_hz, 100, rate_hz, false);
}

void mouth_sound(mouth m, uint64_t seed, int take, double *samples, size_t n, int rate_hz)
{
    if (trilled(m))
        trill_sound(m, seed, take, samples, n, rate_hz);
    else if (m == MOUTH_HUM)
        hum(seed, samples, n, rate_hz);
}
