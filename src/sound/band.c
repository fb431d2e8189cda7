/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/band.h"

#include "base/array.h"

#include <fftw3.h>
#include <math.h>
#include <stdlib.h>

enum { BANDS = 480, BAND_HZ = 200, STEP_BANDS = 2, BESIDE = 5 };
static const double look_s = 0.04, fall_db = 15, rise_db = 5;
static const double least_power = 1e-20; /* of a sample: far under the last of 24 bits */

struct band {
    double rate_hz;
    size_t size, filled, looks, bins;
    float *x, *window;
    fftwf_complex *spectrum;
    fftwf_plan plan;
    float *in;
    double *sum_db; /* [bins] */
};

band *band_new(int rate_hz)
{
    band *b = xcalloc(1, sizeof *b);
    b->rate_hz = rate_hz;
    b->size = 256;
    while ((double)b->size < look_s * b->rate_hz / M_SQRT2)
        b->size *= 2;
    b->bins = b->size / 2 + 1;
    b->x = xcalloc(b->size, sizeof *b->x);
    b->window = xcalloc(b->size, sizeof *b->window);
    b->sum_db = xcalloc(b->bins, sizeof *b->sum_db);
    b->in = fftwf_alloc_real(b->size);
    b->spectrum = fftwf_alloc_complex(b->bins);
    b->plan = fftwf_plan_dft_r2c_1d((int)b->size, b->in, b->spectrum, FFTW_ESTIMATE);
    for (size_t i = 0; i < b->size; i++)
        b->window[i] = (float)(0.5 - 0.5 * cos(2 * M_PI * (double)i / (double)b->size));
    return b;
}

void band_free(band *b)
{
    if (!b)
        return;
    fftwf_destroy_plan(b->plan);
    fftwf_free(b->spectrum);
    fftwf_free(b->in);
    free(b->sum_db);
    free(b->window);
    free(b->x);
    free(b);
}

static void look(band *b)
{
    double power = 0;
    for (size_t i = 0; i < b->size; i++) {
        power += (double)b->x[i] * (double)b->x[i];
        b->in[i] = b->x[i] * b->window[i];
    }
    if (power <= least_power * (double)b->size)
        return;
    fftwf_execute(b->plan);
    for (size_t i = 0; i < b->bins; i++) {
        double re = (double)b->spectrum[i][0], im = (double)b->spectrum[i][1];
        b->sum_db[i] += 10 * log10(re * re + im * im + least_power);
    }
    b->looks++;
}

void band_add(band *b, const float *x, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        b->x[b->filled++] = x[i];
        if (b->filled == b->size) {
            look(b);
            b->filled = 0;
        }
    }
}

/* Mean levels of bands of BAND_HZ; how many lie under half the rate. */
static size_t levels(const band *b, double *db)
{
    size_t n = (size_t)(b->rate_hz / 2 / BAND_HZ), count[BANDS] = {0};
    n = n < BANDS ? n : BANDS;
    for (size_t k = 0; k < n; k++)
        db[k] = 0;
    for (size_t i = 1; i < b->bins; i++) {
        size_t k = (size_t)((double)i * b->rate_hz / (double)b->size / BAND_HZ);
        if (k < n) {
            db[k] += b->sum_db[i] / (double)b->looks;
            count[k]++;
        }
    }
    for (size_t k = 0; k < n; k++)
        db[k] /= (double)count[k];
    return n;
}

static double mean(const double *x, size_t from, size_t to)
{
    double sum = 0;
    for (size_t i = from; i < to; i++)
        sum += x[i] / (double)(to - from);
    return sum;
}

static double least(const double *x, size_t from, size_t to)
{
    double lowest = x[from];
    for (size_t i = from; i < to; i++)
        lowest = fmin(lowest, x[i]);
    return lowest;
}

double band_end_hz(const band *b)
{
    double db[BANDS], highest = -(double)INFINITY;
    if (!b->looks)
        return (double)NAN;
    size_t n = levels(b, db);
    /* From the top down; `highest` is the loudest band above the step that is looked at. */
    for (size_t k = n; k-- > BESIDE;) {
        size_t above = k + STEP_BANDS;
        if (above < n)
            highest = fmax(highest, db[above]);
        if (above + BESIDE > n)
            continue;
        double over = mean(db, above, above + BESIDE);
        if (highest > over + rise_db)
            break;
        if (least(db, k - BESIDE, k) > over + fall_db)
            return (double)k * BAND_HZ;
    }
    return b->rate_hz / 2;
}
