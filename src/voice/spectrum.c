/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/spectrum.h"

#include "base/array.h"
#include "base/lanes.h"

#include <assert.h>
#include <complex.h>
#include <fftw3.h>
#include <gsl/gsl_sf_bessel.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double highest_hz = 5000, highest_share = 0.38;
static const double shortest_s = 0.030;
static const int period_choices[] = {4, 6, 8, 12, 16, 24, 32, 48, 64}; /* quick to transform */

/* Interpolation by a sinc of 24 samples under a Kaiser window, which passes up to 0.39 of the rate
 * and has what it mirrors 80 dB down. */
enum { SIDE = 12, TAPS = 2 * SIDE, STEPS = 256 };
static const double kaiser_beta = 8;

enum { PLANS = 32, LONGEST = 8192 };

typedef struct plan {
    int n;         /* 0: none yet */
    float *window; /* [n] Hann, of mean 1 */
    fftwf_plan plan;
} plan;

struct spectrograph {
    const signal *x;
    double hop_s;
    size_t n;
    double *hz; /* [n] held across unvoiced frames; NULL when none is voiced */
    const double *said_hz;
    float kernel[STEPS + 1][TAPS];
    plan plans[PLANS + 1];
    float *warped;        /* [LONGEST] the window's sound at equal steps of phase */
    fftwf_complex *lines; /* [LONGEST / 2 + 1] */
    double power[SPECTRUM_BINS];
};

double spectrum_noise_hz(const spectrum *s)
{
    return 1.5 * s->hz / s->periods;
}

static double *held(const double *hz, size_t n)
{
    size_t first = 0;
    while (first < n && isnan(hz[first]))
        first++;
    if (first == n)
        return NULL;
    double *all = xmalloc(n, sizeof *all);
    for (size_t i = 0; i < n; i++)
        all[i] = !isnan(hz[i]) ? hz[i] : i > first ? all[i - 1] : hz[first];
    return all;
}

static void make_kernel(spectrograph *g)
{
    for (int s = 0; s <= STEPS; s++)
        for (int t = 0; t < TAPS; t++) {
            double d = (double)(t - SIDE + 1) - (double)s / STEPS, r = d / SIDE;
            double sinc = fabs(d) < 1e-9 ? 1 : sin(M_PI * d) / (M_PI * d);
            double window = r * r >= 1 ? 0 : gsl_sf_bessel_I0(kaiser_beta * sqrt(1 - r * r));
            g->kernel[s][t] = (float)(sinc * window / gsl_sf_bessel_I0(kaiser_beta));
        }
}

spectrograph *spectrograph_new(const signal *x, double hop_s, size_t n, const double *hz)
{
    assert(n > 0);
    spectrograph *g = xcalloc(1, sizeof *g);
    *g = (spectrograph){.x = x, .hop_s = hop_s, .n = n, .hz = held(hz, n), .said_hz = hz};
    make_kernel(g);
    g->warped = xmalloc(LONGEST, sizeof *g->warped);
    g->lines = xmalloc(LONGEST / 2 + 1, sizeof *g->lines);
    return g;
}

void spectrograph_free(spectrograph *g)
{
    if (!g)
        return;
    for (plan *p = g->plans; p->n; p++) {
        fftwf_destroy_plan(p->plan);
        free(p->window);
    }
    free(g->hz);
    free(g->warped);
    free(g->lines);
    free(g);
}

/* Few lengths come up, so that a list is quick enough. */
static const plan *plan_of(spectrograph *g, int n)
{
    plan *p = g->plans;
    while (p->n && p->n != n)
        p++;
    assert(p < g->plans + PLANS);
    if (p->n)
        return p;
    p->n = n;
    p->plan = fftwf_plan_dft_r2c_1d(n, g->warped, g->lines, FFTW_ESTIMATE | FFTW_UNALIGNED);
    p->window = xmalloc((size_t)n, sizeof *p->window);
    for (int k = 0; k < n; k++)
        p->window[k] = (float)(1 - cos(2 * M_PI * k / n));
    return p;
}

/* The sound at `at` samples from its beginning. */
EACH_PART float sample(const spectrograph *g, double at)
{
    double whole = floor(at), part = (at - whole) * STEPS;
    int step = (int)part;
    float share = (float)(part - step), edge[TAPS];
    long first = (long)whole - SIDE + 1;
    const float *a = g->kernel[step], *b = g->kernel[step < STEPS ? step + 1 : step], *x = edge;
    if (first >= 0 && first + TAPS <= (long)g->x->n) {
        x = g->x->x + first;
    } else {
        for (long t = 0; t < TAPS; t++)
            edge[t] = first + t >= 0 && first + t < (long)g->x->n ? g->x->x[first + t] : 0;
    }
    lanes sum = {0}, y, low, high;
    for (int t = 0; t < TAPS; t += LANES) {
        memcpy(&y, x + t, sizeof y);
        memcpy(&low, a + t, sizeof low);
        memcpy(&high, b + t, sizeof high);
        sum += (low + share * (high - low)) * y;
    }
    return ((sum[0] + sum[4]) + (sum[1] + sum[5])) + ((sum[2] + sum[6]) + (sum[3] + sum[7]));
}

static double pitch_at(const spectrograph *g, long frame)
{
    return g->hz[frame < 0 ? 0 : frame < (long)g->n ? frame : (long)g->n - 1];
}

/* Samples of a frame at `count` steps of phase, each 1 / per_period of a period, forwards or
 * backwards in time; the k-th goes to out[way * k], k from 0. Between frames the pitch runs
 * straight, so that the phase is a parabola. */
EACH_PROCESSOR static void walk(const spectrograph *g, size_t frame, int way, int per_period,
                                int count, float *out)
{
    long node = (long)frame;
    double passed = 0, from = pitch_at(g, node), to = pitch_at(g, node + way);
    for (int k = 0; k < count; k++) {
        double phase = (double)k / per_period, area;
        while (phase > passed + (area = (from + to) / 2 * g->hop_s)) {
            passed += area;
            node += way;
            from = to;
            to = pitch_at(g, node + way);
        }
        double rest = phase - passed, bend = 2 * rest * (to - from) / g->hop_s;
        double time_s = 2 * rest / (from + sqrt(from * from + bend));
        out[way * k] = sample(g, ((double)node * g->hop_s + way * time_s) * g->x->rate_hz);
    }
}

static int periods_for(double hz)
{
    size_t last = sizeof period_choices / sizeof *period_choices - 1, i = 0;
    while (i < last && period_choices[i] < hz * shortest_s)
        i++;
    return period_choices[i];
}

bool spectrograph_frame(spectrograph *g, size_t i, spectrum *out)
{
    double top = fmin(highest_hz, highest_share * g->x->rate_hz), hz = g->said_hz[i];
    if (isnan(hz) || hz >= top)
        return false;
    int per_period = 8, periods = periods_for(hz);
    while (per_period * hz < g->x->rate_hz)
        per_period *= 2;
    int n = periods * per_period, half = n / 2;
    assert(n <= LONGEST);
    walk(g, i, 1, per_period, half, g->warped + half);
    walk(g, i, -1, per_period, half + 1, g->warped + half);
    const plan *p = plan_of(g, n);
    for (int k = 0; k < n; k++)
        g->warped[k] *= p->window[k];
    fftwf_execute(p->plan);
    *out = (spectrum){
        .hz = hz, .periods = periods, .harmonics = (int)ceil(top / hz) - 1, .power = g->power};
    assert(out->harmonics <= SPECTRUM_HARMONICS);
    for (int k = 0; k <= out->harmonics * periods + periods / 2; k++) {
        double re = (double)crealf(g->lines[k]) / n, im = (double)cimagf(g->lines[k]) / n;
        g->power[k] = 2 * (re * re + im * im);
    }
    return true;
}
