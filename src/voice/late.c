/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/late.h"

#include "base/array.h"

#include <complex.h>
#include <fftw3.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { STEPS = 4 };                           /* of a window */
enum { LEAST_RATIOS = 100, DEEPEST_DB = 80 }; /* that tell a room; of which the histogram is */
static const double window_s = 0.064, decay_s = 0.4, from_hz = 100, to_hz = 1500;
static const double few = 0.02, share_at_0_db = 26, share_per_db = 1.7;
static const double most_share_db = -6, least_share_db = -20;
static const float counts_from = 1e-4F, taken = 2, least_left = 0.02F, least_power = 1e-20F;

typedef struct spectra { /* of windows that overlap */
    size_t size, step, bins, n;
    float *window;
    float complex *x;    /* [n][bins] */
    float *power, *kept; /* [n][bins]; what a room that is all of the sound keeps of those before */
} spectra;

/* The first sample of spectrum i, which may lie before the sound. */
static ptrdiff_t begin(const spectra *g, size_t i)
{
    return (ptrdiff_t)((i + 1) * g->step) - (ptrdiff_t)g->size;
}

static void transform(spectra *g, const signal *s)
{
    float *in = fftwf_alloc_real(g->size);
    fftwf_plan plan = fftwf_plan_dft_r2c_1d((int)g->size, in, g->x, FFTW_ESTIMATE | FFTW_UNALIGNED);
    for (size_t i = 0; i < g->n; i++) {
        for (size_t k = 0; k < g->size; k++) {
            ptrdiff_t at = begin(g, i) + (ptrdiff_t)k;
            in[k] = at >= 0 && (size_t)at < s->n ? s->x[at] * g->window[k] : 0;
        }
        fftwf_execute_dft_r2c(plan, in, g->x + i * g->bins);
    }
    fftwf_destroy_plan(plan);
    fftwf_free(in);
}

static spectra spectra_new(const signal *s)
{
    spectra g = {.size = (size_t)1 << lround(log2(window_s * s->rate_hz))};
    g.step = g.size / STEPS;
    g.bins = g.size / 2 + 1;
    g.n = s->n / g.step + STEPS;
    g.window = xmalloc(g.size, sizeof *g.window);
    g.x = xmalloc(g.n * g.bins, sizeof *g.x);
    g.power = xmalloc(g.n * g.bins, sizeof *g.power);
    g.kept = xcalloc(g.n * g.bins, sizeof *g.kept);
    for (size_t k = 0; k < g.size; k++)
        g.window[k] = (float)(0.5 - 0.5 * cos(2 * M_PI * ((double)k + 0.5) / (double)g.size));
    transform(&g, s);
    float left = (float)pow(10, -6 * (double)g.step / s->rate_hz / decay_s);
    for (size_t i = 0; i < g.n * g.bins; i++) {
        float re = crealf(g.x[i]), im = cimagf(g.x[i]);
        g.power[i] = re * re + im * im;
        if (i >= g.bins)
            g.kept[i] = left * g.kept[i - g.bins] + (1 - left) * g.power[i - g.bins];
    }
    return g;
}

static void spectra_free(spectra *g)
{
    free(g->window);
    free(g->x);
    free(g->power);
    free(g->kept);
}

static double share_in(const spectra *g, double rate_hz)
{
    size_t first = (size_t)ceil(from_hz / rate_hz * (double)g->size);
    size_t last = (size_t)(to_hz / rate_hz * (double)g->size);
    size_t counts[DEEPEST_DB + 1] = {0}, all = 0, deeper = 0;
    float most = 0;
    for (size_t i = 0; i < g->n * g->bins; i++)
        most = fmaxf(most, g->kept[i]);
    /* The sound's end, where windows reach beyond it, is no pause. */
    for (size_t i = 0; i + STEPS < g->n; i++)
        for (size_t k = i * g->bins + first; k <= i * g->bins + last; k++)
            if (g->kept[k] > counts_from * most) {
                float under_db = 10 * log10f(g->kept[k] / (g->power[k] + least_power));
                counts[(size_t)fminf(DEEPEST_DB, fmaxf(0, under_db))]++;
                all++;
            }
    if (all < LEAST_RATIOS)
        return 0;
    size_t db = DEEPEST_DB + 1;
    while (db > 0 && (double)deeper < few * (double)all)
        deeper += counts[--db];
    double share_db = share_at_0_db - share_per_db * ((double)db + 0.5);
    return share_db < least_share_db ? 0 : pow(10, fmin(most_share_db, share_db) / 10);
}

/* The sound of the spectra, less `share` of what is kept. */
static void sound_of(spectra *g, float share, signal *out)
{
    float *frame = fftwf_alloc_real(g->size);
    fftwf_plan plan =
        fftwf_plan_dft_c2r_1d((int)g->size, g->x, frame, FFTW_ESTIMATE | FFTW_UNALIGNED);
    /* Windows twice over, each sample under STEPS of them: their squares sum to 3/8 of that. */
    float scale = 1 / (0.375F * STEPS * (float)g->size);
    for (size_t i = 0; i < g->n; i++) {
        for (size_t k = i * g->bins; k < (i + 1) * g->bins; k++) {
            float left = 1 - taken * share * g->kept[k] / (g->power[k] + least_power);
            g->x[k] *= sqrtf(fmaxf(left, least_left));
        }
        fftwf_execute_dft_c2r(plan, g->x + i * g->bins, frame);
        for (size_t k = 0; k < g->size; k++) {
            ptrdiff_t at = begin(g, i) + (ptrdiff_t)k;
            if (at >= 0 && (size_t)at < out->n)
                out->x[at] += scale * g->window[k] * frame[k];
        }
    }
    fftwf_destroy_plan(plan);
    fftwf_free(frame);
}

signal late_taken_off(const signal *s)
{
    signal out = {.rate_hz = s->rate_hz, .n = s->n, .x = xcalloc(s->n, sizeof *out.x)};
    if (!s->n)
        return out;
    spectra g = spectra_new(s);
    double share = share_in(&g, s->rate_hz);
    if (share > 0)
        sound_of(&g, (float)share, &out);
    else
        memcpy(out.x, s->x, s->n * sizeof *s->x);
    spectra_free(&g);
    return out;
}
