/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/hum.h"

#include "base/array.h"
#include "base/lanes.h"

#include <complex.h>
#include <math.h>
#include <stdlib.h>

enum {
    MAINS = 2,
    HARMONICS = 6,
    PLACES = 5,
    LINES = MAINS * HARMONICS * PLACES,
    LEAST_WINDOWS = 3
};
static const double mains_hz[MAINS] = {50, 60};
static const double place_hz[PLACES] = {0, -24, -16, 16, 24};
static const double window_s = 0.25, standing_out = 3.98; /* 6 dB */

struct hum {
    double rate_hz;
    size_t size, n, windows;
    float *x;
    double power[LINES]; /* [MAINS][HARMONICS][PLACES] sums over windows, as a sine's mean square */
};

hum *hum_new(int rate_hz)
{
    hum *h = xcalloc(1, sizeof *h);
    h->rate_hz = rate_hz;
    h->size = (size_t)(window_s * h->rate_hz);
    h->x = xcalloc(h->size, sizeof *h->x);
    return h;
}

void hum_free(hum *h)
{
    if (!h)
        return;
    free(h->x);
    free(h);
}

/* The last two numbers of Goertzel's recursion for each line, all lines a sample at a time: each
 * waits for the sample before, and none for another line. */
EACH_PROCESSOR static void recur(const hum *h, const double *twice, double *s1, double *s2)
{
    for (size_t i = 0; i < h->size; i++)
        for (int l = 0; l < LINES; l++) {
            double s = (double)h->x[i] + twice[l] * s1[l] - s2[l];
            s2[l] = s1[l];
            s1[l] = s;
        }
}

/* Adds each line's mean square, as a sine's, of what is in the window. */
static void add_lines(hum *h)
{
    double turn[LINES], twice[LINES], s1[LINES] = {0}, s2[LINES] = {0};
    for (int l = 0; l < LINES; l++) {
        int mains = l / PLACES / HARMONICS, k = l / PLACES % HARMONICS;
        turn[l] = 2 * M_PI * (mains_hz[mains] * (k + 1) + place_hz[l % PLACES]) / h->rate_hz;
        twice[l] = 2 * cos(turn[l]);
    }
    recur(h, twice, s1, s2);
    for (int l = 0; l < LINES; l++) {
        double size = 2 * cabs(s1[l] - s2[l] * cexp(-I * turn[l])) / (0.5 * (double)h->size);
        h->power[l] += size * size / 2;
    }
}

static void end_window(hum *h)
{
    for (size_t i = 0; i < h->size; i++)
        h->x[i] *= (float)(0.5 - 0.5 * cos(2 * M_PI * ((double)i + 0.5) / (double)h->size));
    add_lines(h);
    h->windows++;
    h->n = 0;
}

void hum_add(hum *h, const float *x, size_t n, bool pause)
{
    if (!pause)
        h->n = 0;
    for (size_t i = 0; pause && i < n; i++) {
        h->x[h->n++] = x[i];
        if (h->n == h->size)
            end_window(h);
    }
}

/* Sum of the lines that stand out, less what lies beside them; 0 when that is no hum. */
static double standing(const hum *h, int mains)
{
    double sum = 0;
    int others = 0;
    bool fundamental = false;
    for (int k = 0; k < HARMONICS; k++) {
        const double *p = h->power + (mains * HARMONICS + k) * PLACES;
        double beside = (p[1] + p[2] + p[3] + p[4]) / 4;
        if (!(p[0] > standing_out * beside))
            continue;
        sum += p[0] - beside;
        fundamental = fundamental || k == 0;
        others += k > 0;
    }
    return fundamental || others >= 2 ? sum / (double)h->windows : 0;
}

double hum_read(const hum *h, int *hz)
{
    *hz = 0;
    if (h->windows < LEAST_WINDOWS)
        return (double)NAN;
    double a = standing(h, 0), b = standing(h, 1), most = a > b ? a : b;
    if (most <= 0)
        return -(double)INFINITY;
    *hz = a > b ? 50 : 60;
    return 10 * log10(most);
}
