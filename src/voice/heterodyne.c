/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/heterodyne.h"

#include "base/array.h"

#include <complex.h>
#include <fftw3.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

/* A grid of GRID phases over two periods; the kernel reaches over SPREAD of them and stands in a
 * table with its slope at ROWS places between two grid points. Samples go to WAYS grids in turn, so
 * that none waits for the one before. */
enum { GRID = 128, SPREAD = 8, ROWS = 256, WAYS = 8, MARGIN = 3, WINDOWS = 256, KEPT = 4096 };

typedef float lanes __attribute__((vector_size(16)));

struct heterodyne {
    const signal *x;
    double hop_s;
    size_t n;
    double *hz;      /* [n] pitch, held across unvoiced frames */
    unsigned *place; /* [x->n] phase of phi / 2, in whole 1 / ROWS of a grid point */
    float *rest;     /* [x->n] what is over, from the middle of that place, in grid points */
    lanes (*kernel)[SPREAD / 2];     /* [ROWS] values, then slopes */
    float undo[HETERODYNE_MOST + 1]; /* 1 / the kernel's transform */
    float *window[WINDOWS];          /* by half its length in steps of `step` samples */
    int step;
    lanes (*spread)[SPREAD / 4]; /* [KEPT] samples from..to of the sound, each times its kernel */
    size_t from, to;
    float *in;
    fftwf_complex *out;
    fftwf_plan plan;
};

/* The pitch runs straight from frame to frame. */
static void turn_along(heterodyne *h)
{
    double at = 0, per_sample = 1 / (h->x->rate_hz * h->hop_s);
    double half_turn = GRID * ROWS / (4 * h->x->rate_hz), phase = 0;
    size_t frame = 0;
    for (size_t i = 0; i < h->x->n; i++) {
        double hz = h->hz[frame];
        if (frame + 1 < h->n)
            hz += at * (h->hz[frame + 1] - hz);
        phase += half_turn * hz;
        phase = phase >= GRID * ROWS ? phase - GRID * ROWS : phase;
        h->place[i] = (unsigned)phase;
        h->rest[i] = (float)((phase - h->place[i] - 0.5) / ROWS);
        phase += half_turn * hz;
        at += per_sample;
        if (at >= 1) {
            at -= 1;
            frame = frame + 1 < h->n ? frame + 1 : frame;
        }
    }
}

/* The kernel, and how fast it grows as the sample comes nearer from the left. */
static double kernel_at(double grid_points, double *slope)
{
    static const double sharp = 2.3 * SPREAD;
    double z = 2 * grid_points / SPREAD, root = sqrt(fmax(1 - z * z, 1e-12));
    double value = fabs(z) < 1 ? exp(sharp * (root - 1)) : 0;
    *slope = value * sharp * z / root * 2 / SPREAD;
    return value;
}

static void tabulate_kernel(heterodyne *h)
{
    enum { STEPS = 64 };
    double slope;
    h->kernel = xmalloc(ROWS, sizeof *h->kernel);
    for (int r = 0; r < ROWS; r++)
        for (int m = 0; m < SPREAD; m++) {
            double off = m - MARGIN - (r + 0.5) / ROWS;
            h->kernel[r][m / 4][m % 4] = (float)kernel_at(off, &slope);
            h->kernel[r][SPREAD / 4 + m / 4][m % 4] = (float)slope;
        }
    float kernel[SPREAD * STEPS + 1];
    for (int i = 0; i <= SPREAD * STEPS; i++)
        kernel[i] = (float)kernel_at((double)i / STEPS - SPREAD / 2, &slope);
    for (int k = 0; k <= HETERODYNE_MOST; k++) {
        double sum = 0;
        for (int i = 0; i <= SPREAD * STEPS; i++)
            sum += (double)kernel[i] * cos(2 * M_PI * k * ((double)i / STEPS - SPREAD / 2) / GRID);
        h->undo[k] = (float)(STEPS / sum);
    }
}

heterodyne *heterodyne_new(const signal *x, double hop_s, size_t n)
{
    heterodyne *h = xcalloc(1, sizeof *h);
    *h = (heterodyne){.x = x, .hop_s = hop_s, .n = n, .hz = xmalloc(n, sizeof *h->hz)};
    h->step = (int)ceil(x->rate_hz / 2000);
    h->place = xmalloc(x->n, sizeof *h->place);
    h->rest = xmalloc(x->n, sizeof *h->rest);
    h->spread = xmalloc(KEPT, sizeof *h->spread);
    h->in = fftwf_alloc_real(GRID);
    h->out = fftwf_alloc_complex(GRID / 2 + 1);
    h->plan = fftwf_plan_dft_r2c_1d(GRID, h->in, h->out, FFTW_ESTIMATE);
    tabulate_kernel(h);
    return h;
}

void heterodyne_free(heterodyne *h)
{
    if (!h)
        return;
    for (int i = 0; i < WINDOWS; i++)
        free(h->window[i]);
    fftwf_destroy_plan(h->plan);
    fftwf_free(h->in);
    fftwf_free(h->out);
    free(h->kernel);
    free(h->hz);
    free(h->place);
    free(h->rest);
    free(h->spread);
    free(h);
}

bool heterodyne_follow(heterodyne *h, const double *hz)
{
    size_t first = 0;
    while (first < h->n && isnan(hz[first]))
        first++;
    for (size_t i = 0; first < h->n && i < h->n; i++)
        h->hz[i] = !isnan(hz[i]) ? hz[i] : i > first ? h->hz[i - 1] : hz[first];
    if (first < h->n)
        turn_along(h);
    h->from = h->to = 0;
    return first < h->n;
}

/* A Hann window of 2 * half + 1 samples whose sum is 1, made when it is first asked for. */
static const float *window_of(heterodyne *h, double seconds, int *half)
{
    int which = (int)lround(h->x->rate_hz * seconds / 2 / h->step);
    which = which < 1 ? 1 : which >= WINDOWS ? WINDOWS - 1 : which;
    *half = which * h->step;
    if (!h->window[which]) {
        float *w = h->window[which] = xmalloc((size_t)(2 * *half + 1), sizeof *w);
        for (int k = -*half; k <= *half; k++)
            w[k + *half] = (float)((1 + cos(M_PI * k / (*half + 1))) / (2 * (*half + 1)));
    }
    return h->window[which];
}

/* Sums the grids, what lies over the ends put in at the other end. */
static void gather(const float grid[WAYS][GRID + SPREAD], float *sum)
{
    float whole[GRID + SPREAD];
    for (int m = 0; m < GRID + SPREAD; m += 4) {
        lanes total = {0}, part;
        for (int way = 0; way < WAYS; way++) {
            memcpy(&part, grid[way] + m, sizeof part);
            total += part;
        }
        memcpy(whole + m, &total, sizeof total);
    }
    memcpy(sum, whole + MARGIN, GRID * sizeof *sum);
    for (int m = 0; m < MARGIN; m++)
        sum[GRID - MARGIN + m] += whole[m];
    for (int m = GRID + MARGIN; m < GRID + SPREAD; m++)
        sum[m - GRID - MARGIN] += whole[m];
}

/* Frames overlap: what they share is spread once. */
static void spread_until(heterodyne *h, size_t from, size_t to)
{
    if (from < h->from || from > h->to || to > h->from + KEPT)
        h->from = h->to = from;
    for (; h->to < to; h->to++) {
        unsigned place = h->place[h->to];
        const lanes *row = h->kernel[place % ROWS];
        float x = h->x->x[h->to], rest = h->rest[h->to];
        h->spread[h->to % KEPT][0] = x * (row[0] + rest * row[2]);
        h->spread[h->to % KEPT][1] = x * (row[1] + rest * row[3]);
    }
    h->from = h->to > h->from + KEPT ? h->to - KEPT : h->from;
}

void heterodyne_lines(heterodyne *h, size_t i, heterodyne_window w, int n_lines,
                      float complex *line)
{
    float grid[WAYS][GRID + SPREAD];
    int half;
    const float *window = window_of(h, fmax(w.shortest_s, w.periods / h->hz[i]), &half);
    long centre = lround((double)i * h->hop_s * h->x->rate_hz), n = (long)h->x->n;
    size_t from = centre < half ? 0 : (size_t)(centre - half);
    size_t to = (size_t)(centre + half >= n ? n : centre + half + 1);
    spread_until(h, from, to);
    memset(grid, 0, sizeof grid);
    for (size_t at = from; at < to; at++) {
        float weight = window[(long)at - centre + half];
        const lanes *x = h->spread[at % KEPT];
        float *cell = grid[at % WAYS] + h->place[at] / ROWS;
        lanes a, b;
        memcpy(&a, cell, sizeof a);
        memcpy(&b, cell + 4, sizeof b);
        a += weight * x[0];
        b += weight * x[1];
        memcpy(cell, &a, sizeof a);
        memcpy(cell + 4, &b, sizeof b);
    }
    gather((const float(*)[GRID + SPREAD]) grid, h->in);
    fftwf_execute(h->plan);
    for (int q = 0; q < n_lines; q++)
        line[q] = h->undo[q + 1] * h->out[q + 1];
}
