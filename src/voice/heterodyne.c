/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/heterodyne.h"

#include "base/array.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

static const double shortest_s = 0.030;
enum { PERIODS = 4 };

struct heterodyne {
    const signal *x;
    double hop_s;
    double *hz;          /* [n] pitch, held across unvoiced frames */
    float complex *turn; /* [x->n] exp(-j phi / 2) */
};

static bool hold(const double *hz, size_t n, double *held)
{
    size_t first = 0;
    while (first < n && isnan(hz[first]))
        first++;
    for (size_t i = 0; first < n && i < n; i++)
        held[i] = !isnan(hz[i]) ? hz[i] : i > first ? held[i - 1] : hz[first];
    return first < n;
}

/* The pitch runs straight from frame to frame. */
static void turn_along(heterodyne *h, size_t n)
{
    double phase = 0, per_sample = 1 / (h->x->rate_hz * h->hop_s);
    for (size_t i = 0; i < h->x->n; i++) {
        double at = (double)i * per_sample;
        size_t f = (size_t)at;
        double hz =
            f + 1 >= n ? h->hz[n - 1] : h->hz[f] + (at - (double)f) * (h->hz[f + 1] - h->hz[f]);
        phase += M_PI * hz / h->x->rate_hz;
        phase = phase > 2 * M_PI ? phase - 2 * M_PI : phase;
        h->turn[i] = (float)cos(phase) - (float)sin(phase) * I;
    }
}

heterodyne *heterodyne_new(const signal *x, double hop_s, size_t n, const double *hz)
{
    heterodyne *h = xcalloc(1, sizeof *h);
    *h = (heterodyne){.x = x, .hop_s = hop_s, .hz = xmalloc(n, sizeof *h->hz)};
    if (!hold(hz, n, h->hz)) {
        heterodyne_free(h);
        return NULL;
    }
    h->turn = xmalloc(x->n, sizeof *h->turn);
    turn_along(h, n);
    return h;
}

void heterodyne_free(heterodyne *h)
{
    if (!h)
        return;
    free(h->hz);
    free(h->turn);
    free(h);
}

void heterodyne_lines(const heterodyne *h, size_t i, int n_lines, double complex *line)
{
    const signal *x = h->x;
    int half = (int)(x->rate_hz * fmax(shortest_s, PERIODS / h->hz[i]) / 2);
    long centre = lround((double)i * h->hop_s * x->rate_hz);
    float re_sum[HETERODYNE_MOST] = {0}, im_sum[HETERODYNE_MOST] = {0};
    double weight = 0;
    for (int k = -half; k <= half; k++) {
        long at = centre + k;
        double w = 1 + cos(M_PI * k / (half + 1));
        weight += w;
        if (at < 0 || at >= (long)x->n)
            continue;
        float re = (float)w * x->x[at], im = 0;
        float c = crealf(h->turn[at]), s = cimagf(h->turn[at]);
        for (int q = 0; q < n_lines; q++) {
            float next = re * c - im * s;
            im = re * s + im * c;
            re = next;
            re_sum[q] += re;
            im_sum[q] += im;
        }
    }
    for (int q = 0; q < n_lines; q++)
        line[q] = ((double)re_sum[q] + (double)im_sum[q] * I) / weight;
}
