/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/duet.h"

#include "base/array.h"
#include "base/note.h"

#include <fftw3.h>
#include <math.h>
#include <stdlib.h>

enum { LINES = 40, LEAST_WINDOWS = 10, LEAST_LINES = 3, PARTS = 4, A_SECOND = 14 };
static const double window_s = 0.128, steady_st = 0.25, same_st = 1.5, highest_hz = 3000;
static const double least_over = 15.8, least_share = 3.2e-4, least_power = 3.2e-3;
static const double lowest_f0_hz = 70, highest_f0_hz = 1200;

struct duet {
    double rate_hz;
    size_t size, bins, windows, two;
    float *in, *window;
    fftwf_complex *out;
    fftwf_plan plan;
    double *power;    /* [bins] */
    double before_hz; /* second pitch of the window before; 0 for none */
};

typedef struct lines {
    double hz[LINES], power[LINES], all; /* power of all lines, harmonics too */
    size_t n;
} lines;

duet *duet_new(int rate_hz)
{
    duet *d = xcalloc(1, sizeof *d);
    d->rate_hz = rate_hz;
    d->size = (size_t)(window_s * d->rate_hz) / 2 * 2;
    d->bins = d->size / 2 + 1;
    d->window = xmalloc(d->size, sizeof *d->window);
    d->power = xcalloc(d->bins, sizeof *d->power);
    d->in = fftwf_alloc_real(d->size);
    d->out = fftwf_alloc_complex(d->bins);
    d->plan = fftwf_plan_dft_r2c_1d((int)d->size, d->in, d->out, FFTW_ESTIMATE);
    for (size_t i = 0; i < d->size; i++)
        d->window[i] = (float)(0.5 - 0.5 * cos(2 * M_PI * ((double)i + 0.5) / (double)d->size));
    return d;
}

void duet_free(duet *d)
{
    if (!d)
        return;
    fftwf_destroy_plan(d->plan);
    fftwf_free(d->out);
    fftwf_free(d->in);
    free(d->power);
    free(d->window);
    free(d);
}

/* Mean pitch from from_s to to_s in Hz; NaN where voice is missing or its pitch moves. */
static double steady_hz(const moment *m, double from_s, double to_s)
{
    if (!moment_voiced(m, from_s, to_s))
        return (double)NAN;
    const track *t = m->heard;
    size_t a = m->first + (size_t)lround(from_s / t->hop_s);
    size_t n = (size_t)lround((to_s - from_s) / t->hop_s);
    double lowest = INFINITY, highest = -INFINITY, sum = 0;
    for (size_t i = 0; i < n; i++) {
        double st = t->pitch_st[a + i];
        lowest = fmin(lowest, st);
        highest = fmax(highest, st);
        sum += st / (double)n;
    }
    return highest - lowest <= steady_st ? note_to_hz(sum) : (double)NAN;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Median power of the 33 bins about bin i. */
static double surroundings(const duet *d, size_t i, size_t end)
{
    double near[33] = {0};
    size_t n = 0, a = i > 16 ? i - 16 : 0;
    for (size_t k = a; k <= i + 16 && k < end; k++)
        near[n++] = d->power[k];
    qsort(near, n, sizeof *near, by_size);
    return near[n / 2];
}

static bool harmonic_of(double hz, double f0, double slack_hz)
{
    double number = fmax(1, round(hz / f0));
    return fabs(hz - number * f0) <= fmax(slack_hz, 0.012 * hz);
}

/* Lines that are no harmonics of f0. */
static lines find_lines(const duet *d, double f0)
{
    double bin_hz = d->rate_hz / (double)d->size, most = 0;
    size_t end = (size_t)fmin(highest_hz / bin_hz, (double)d->bins - 1);
    lines found = {.n = 0};
    for (size_t i = 2; i < end; i++)
        most = fmax(most, d->power[i]);
    for (size_t i = (size_t)(60 / bin_hz); i + 1 < end; i++) {
        double p = d->power[i];
        if (p < d->power[i - 1] || p <= d->power[i + 1] || p < least_share * most ||
            p < least_over * surroundings(d, i, end))
            continue;
        /* The top of the parabola through the logarithms. */
        double a = log(d->power[i - 1]), b = log(p), c = log(d->power[i + 1]);
        double hz = ((double)i + 0.5 * (a - c) / (a - 2 * b + c)) * bin_hz;
        found.all += p;
        if (!harmonic_of(hz, f0, 2.5 * bin_hz) && found.n < LINES) {
            found.hz[found.n] = hz;
            found.power[found.n++] = p;
        }
    }
    return found;
}

/* Is one pitch a simple part or multiple of the other? */
static bool related(double f0, double f2)
{
    for (int up = 1; up <= 6; up++)
        for (int down = 1; down <= 4; down++)
            if ((up == 1 || down <= 2) && fabs(f2 / f0 * down / up - 1) < 0.02)
                return true;
    return false;
}

/* 0 for none. */
static double second_pitch(const lines *l, double f0, double bin_hz)
{
    for (size_t i = 0; i < l->n; i++)
        for (int part = 1; part <= PARTS; part++) {
            double f2 = l->hz[i] / part, power = 0;
            size_t own = 0;
            if (f2 < lowest_f0_hz || f2 > highest_f0_hz || related(f0, f2))
                continue;
            for (size_t k = 0; k < l->n; k++)
                if (harmonic_of(l->hz[k], f2, bin_hz)) {
                    own++;
                    power += l->power[k];
                }
            if (own >= LEAST_LINES && 2 * own > l->n && power >= least_power * l->all)
                return f2;
        }
    return 0;
}

static void hear_window(duet *d, const float *x, double f0)
{
    for (size_t i = 0; i < d->size; i++)
        d->in[i] = x[i] * d->window[i];
    fftwf_execute(d->plan);
    for (size_t i = 0; i < d->bins; i++) {
        double re = (double)d->out[i][0], im = (double)d->out[i][1];
        d->power[i] = re * re + im * im + 1e-30;
    }
    lines l = find_lines(d, f0);
    d->windows++;
    double f2 = second_pitch(&l, f0, d->rate_hz / (double)d->size);
    d->two += f2 > 0 && d->before_hz > 0 && fabs(12 * log2(f2 / d->before_hz)) < same_st;
    d->before_hz = f2;
}

void duet_add(duet *d, const moment *m)
{
    for (size_t k = 0; k < A_SECOND; k++) {
        size_t from = k * (size_t)m->rate_hz / A_SECOND;
        if (from + d->size > m->n)
            break;
        double start_s = (double)from / d->rate_hz;
        double f0 = steady_hz(m, start_s, start_s + window_s);
        if (isnan(f0))
            d->before_hz = 0;
        else
            hear_window(d, m->x + from, f0);
    }
}

double duet_share(const duet *d)
{
    return d->windows >= LEAST_WINDOWS ? (double)d->two / (double)d->windows : (double)NAN;
}
