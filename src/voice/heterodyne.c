/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/heterodyne.h"

#include "base/array.h"
#include "base/lanes.h"

#include <complex.h>
#include <fftw3.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

/* A grid of phases over two periods, of GRID points or, for few lines, half as many; the kernel
 * reaches over LANES of them and stands in a table with its slope at ROWS places between two grid
 * points. */
enum { GRID = 128, ROW_BITS = 8, ROWS = 1 << ROW_BITS, MARGIN = 3, WINDOWS = 256, KEPT = 4096 };

struct heterodyne {
    const signal *x;
    double hop_s;
    size_t n;
    double *hz; /* [n] pitch, held across unvoiced frames */
    int grid;   /* points over two periods */
    /* Phase of phi / 2 at each sample, [x->n + 3]: the grid point times ROWS, and the row of the
     * kernel behind it; what is over, from the middle of that row, in grid points. */
    int *place;
    float *rest;
    float (*kernel)[2][LANES];       /* [ROWS] values, slopes */
    float undo[HETERODYNE_MOST + 1]; /* 1 / the kernel's transform */
    float *window[WINDOWS];          /* by half its length in steps of `step` samples */
    int step;
    float (*spread)[LANES]; /* [KEPT] samples from..to - 1, each times its kernel */
    size_t from, to;
    fftwf_complex *in, *out; /* `in` is real: FFTW is faster so at this length */
    fftwf_plan plan;
};

/* Samples first..end - 1, the first `at_s` after a frame of pitch hz, which changes by slope_hz a
 * second. Returns the phase after the last: the k-th sample's is the sum of all steps before it and
 * half of its own. */
EACH_PROCESSOR static double turn_straight(heterodyne *h, size_t first, size_t end, double phase,
                                           double hz, double slope_hz)
{
    const double half_turn = h->grid * ROWS / (4 * h->x->rate_hz), round = h->grid * ROWS;
    const double slope = half_turn * slope_hz / h->x->rate_hz, turn = half_turn * hz;
    const double n = (double)(end - first);
    const four_ints each = {0, 1, 2, 3};
    fours k = __builtin_convertvector(each, fours);
    for (size_t i = first; i < end; i += 4) {
        fours at = (phase + turn) + k * (2 * turn + k * slope);
        four_ints place = __builtin_convertvector(at, four_ints);
        four_floats rest =
            __builtin_convertvector(at - __builtin_convertvector(place, fours) - 0.5, four_floats);
        place &= h->grid * ROWS - 1;
        rest *= 1.0f / ROWS;
        memcpy(h->place + i, &place, sizeof place);
        memcpy(h->rest + i, &rest, sizeof rest);
        k += 4;
    }
    return fmod(phase + 2 * n * turn + n * (n - 1) * slope, round);
}

/* The pitch runs straight from frame to frame, and stays after the last. */
static void turn_along(heterodyne *h)
{
    double hop = h->hop_s * h->x->rate_hz, phase = 0;
    size_t first = 0;
    for (size_t f = 0; f < h->n && first < h->x->n; f++) {
        bool last = f + 1 == h->n;
        double end = last ? (double)h->x->n : fmin(ceil((double)(f + 1) * hop), (double)h->x->n);
        double slope_hz = last ? 0 : (h->hz[f + 1] - h->hz[f]) / h->hop_s;
        double late_s = (double)first / h->x->rate_hz - (double)f * h->hop_s;
        phase = turn_straight(h, first, (size_t)end, phase, h->hz[f] + late_s * slope_hz, slope_hz);
        first = (size_t)end;
    }
}

/* The kernel, and how fast it grows as the sample comes nearer from the left. */
static double kernel_at(double grid_points, double *slope)
{
    static const double sharp = 2.3 * LANES;
    double z = 2 * grid_points / LANES, root = sqrt(fmax(1 - z * z, 1e-12));
    double value = fabs(z) < 1 ? exp(sharp * (root - 1)) : 0;
    *slope = value * sharp * z / root * 2 / LANES;
    return value;
}

static void tabulate_kernel(heterodyne *h)
{
    enum { STEPS = 8 }; /* where it ends it is next to nothing */
    double slope;
    h->kernel = xmalloc(ROWS, sizeof *h->kernel);
    for (int r = 0; r < ROWS; r++)
        for (int m = 0; m <= MARGIN; m++) {
            int mirror = ROWS - 1 - r, to = 2 * MARGIN + 1 - m;
            double off = m - MARGIN - (r + 0.5) / ROWS;
            h->kernel[r][0][m] = h->kernel[mirror][0][to] = (float)kernel_at(off, &slope);
            h->kernel[r][1][m] = (float)slope;
            h->kernel[mirror][1][to] = (float)-slope;
        }
    float kernel[LANES * STEPS + 1];
    for (int i = 0; i <= LANES * STEPS; i++)
        kernel[i] = (float)kernel_at((double)i / STEPS - LANES / 2, &slope);
    for (int k = 0; k <= HETERODYNE_MOST; k++) {
        double sum = 0;
        for (int i = 0; i <= LANES * STEPS; i++)
            sum +=
                (double)kernel[i] * cos(2 * M_PI * k * ((double)i / STEPS - LANES / 2) / h->grid);
        h->undo[k] = (float)(STEPS / sum);
    }
}

heterodyne *heterodyne_new(const signal *x, double hop_s, size_t n, int most_lines)
{
    heterodyne *h = xcalloc(1, sizeof *h);
    *h = (heterodyne){.x = x, .hop_s = hop_s, .n = n, .hz = xmalloc(n, sizeof *h->hz)};
    h->grid = most_lines <= HETERODYNE_MOST / 2 + 1 ? GRID / 2 : GRID;
    h->step = (int)ceil(x->rate_hz / 2000);
    h->place = xmalloc(x->n + 3, sizeof *h->place);
    h->rest = xmalloc(x->n + 3, sizeof *h->rest);
    h->spread = xmalloc(KEPT, sizeof *h->spread);
    h->in = fftwf_alloc_complex((size_t)h->grid);
    h->out = fftwf_alloc_complex((size_t)h->grid);
    h->plan = fftwf_plan_dft_1d(h->grid, h->in, h->out, FFTW_FORWARD, FFTW_ESTIMATE);
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
        for (int k = 0; k <= *half; k++)
            w[*half - k] = w[*half + k] =
                (float)((1 + cos(M_PI * k / (*half + 1))) / (2 * (*half + 1)));
    }
    return h->window[which];
}

/* Frames overlap: what they share is spread once, and kept while there is room behind it. */
EACH_PROCESSOR static void spread_until(heterodyne *h, size_t from, size_t to)
{
    if (from < h->from || from > h->to)
        h->from = h->to = from;
    if (to > h->from + KEPT) {
        memmove(h->spread, h->spread + (from - h->from), (h->to - from) * sizeof *h->spread);
        h->from = from;
    }
    for (; h->to < to; h->to++) {
        float(*row)[LANES] = h->kernel[h->place[h->to] & (ROWS - 1)];
        lanes value, slope;
        memcpy(&value, row[0], sizeof value);
        memcpy(&slope, row[1], sizeof slope);
        value = h->x->x[h->to] * (value + h->rest[h->to] * slope);
        memcpy(h->spread[h->to - h->from], &value, sizeof value);
    }
}

/* Samples from..to - 1, each times its weight, into the grid: every `apart`-th, then those after
 * them and so on, so that one seldom lies where the one before it is still being added. */
EACH_PROCESSOR static void collect(const heterodyne *h, size_t from, size_t to, const float *weight,
                                   size_t apart, float grid[GRID + LANES])
{
    const float(*spread)[LANES] = (const float(*)[LANES])h->spread + (from - h->from);
    const int *place = h->place + from;
    memset(grid, 0, (size_t)(h->grid + LANES) * sizeof *grid);
    for (size_t first = 0; first < apart; first++)
        for (size_t i = first; i < to - from; i += apart) {
            lanes sum, x;
            float *at = grid + (place[i] >> ROW_BITS);
            memcpy(&sum, at, sizeof sum);
            memcpy(&x, spread[i], sizeof x);
            sum += weight[i] * x;
            memcpy(at, &sum, sizeof sum);
        }
}

void heterodyne_lines(heterodyne *h, size_t i, heterodyne_window w, int n_lines,
                      float complex *line)
{
    float whole[GRID + LANES];
    int half, grid = h->grid;
    const float *window = window_of(h, fmax(w.shortest_s, w.periods / h->hz[i]), &half);
    long centre = lround((double)i * h->hop_s * h->x->rate_hz), n = (long)h->x->n;
    long from = centre < half ? 0 : centre - half;
    long to = centre + half >= n ? n : centre + half + 1;
    spread_until(h, (size_t)from, (size_t)to);
    size_t apart = (size_t)ceil(LANES / (h->hz[i] * grid / (2 * h->x->rate_hz)));
    collect(h, (size_t)from, (size_t)to, window + (from - centre + half), apart, whole);
    /* What lies over the ends goes in at the other end. */
    for (int m = 0; m < MARGIN; m++)
        whole[grid + m] += whole[m];
    for (int m = MARGIN; m < LANES; m++)
        whole[m] += whole[grid + m];
    for (int m = 0; m < grid; m++)
        h->in[m] = whole[MARGIN + m];
    fftwf_execute(h->plan);
    for (int q = 0; q < n_lines; q++)
        line[q] = h->undo[q + 1] * h->out[q + 1];
}
