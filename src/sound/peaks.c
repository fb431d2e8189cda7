/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/peaks.h"

#include "base/array.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum {
    LONGEST = 8192, /* samples of a half-wave that is looked at: 43 ms at 192 kHz */
    BINS = 240,     /* of 0.25 dB down from full scale */
    BINS_A_DB = 4,
    LEAST_FLAT_SAMPLES = 4,
    LEAST_FLAT = 5,
    LEAST_SQUASHED = 20
};
static const double flat_from = 0.5, share_flat = 0.3, share_more = 0.25;
static const double share_squashed = 0.15, more_squashed = 0.12;
/* Cut off sharp: samples that are one within this, and a fall beside them that is steeper. */
static const double equal = 1.5 / 32768, steep = 10 * equal;
enum { LEAST_EQUAL = 3, LEAST_SHARP = 3 };

typedef struct side { /* half-waves of one sign, by the level of their peak */
    size_t all[BINS], flat[BINS];
    double highest; /* peak of all */
    size_t sharp;   /* half-waves that are cut off sharp there */
} side;

struct peaks {
    side of[2];
    size_t n; /* of the half-wave begun */
    int sign;
    float x[LONGEST];
};

peaks *peaks_new(void)
{
    return xcalloc(1, sizeof(peaks));
}

void peaks_free(peaks *p)
{
    free(p);
}

/* Samples, with parts of them, about `top` for which |x| is `level` or more; *whole: samples. */
static double width(const float *x, size_t n, size_t top, double level, size_t *whole)
{
    size_t a = top, b = top;
    while (a > 0 && fabs((double)x[a - 1]) >= level)
        a--;
    while (b + 1 < n && fabs((double)x[b + 1]) >= level)
        b++;
    double w = (double)(b - a);
    if (a > 0) {
        double in = fabs((double)x[a]), out = fabs((double)x[a - 1]);
        w += (in - level) / (in - out);
    }
    if (b + 1 < n) {
        double in = fabs((double)x[b]), out = fabs((double)x[b + 1]);
        w += (in - level) / (in - out);
    }
    *whole = b - a + 1;
    return w;
}

/* Do samples that are all but equal end the half-wave like a cut? */
static bool cut_sharp(const float *x, size_t n, size_t top)
{
    double peak = fabs((double)x[top]);
    size_t a = top, b = top + 1;
    while (a > 0 && fabs((double)x[a - 1]) >= peak - equal)
        a--;
    while (b < n && fabs((double)x[b]) >= peak - equal)
        b++;
    return b - a >= LEAST_EQUAL && a > 0 && b < n && fabs((double)x[a - 1]) < peak - steep &&
           fabs((double)x[b]) < peak - steep;
}

static void count_sharp(side *of, double peak, bool sharp)
{
    if (peak > of->highest + equal) {
        of->highest = peak;
        of->sharp = 0;
    }
    of->sharp += sharp && peak >= of->highest - equal;
}

static void end_half_wave(peaks *p)
{
    size_t top = 0, near_top, n = p->n < LONGEST ? p->n : LONGEST;
    for (size_t i = 1; i < n; i++)
        if (fabsf(p->x[i]) > fabsf(p->x[top]))
            top = i;
    double peak = n ? fabs((double)p->x[top]) : 0, at = -20 * log10(peak) * BINS_A_DB;
    if (!(at < BINS))
        return;
    size_t bin = at > 0 ? (size_t)at : 0;
    side *of = &p->of[p->sign > 0];
    double upper = width(p->x, n, top, 0.99 * peak, &near_top);
    size_t ignored;
    bool flat = near_top >= LEAST_FLAT_SAMPLES &&
                upper >= flat_from * width(p->x, n, top, 0.9 * peak, &ignored);
    count_sharp(of, peak, cut_sharp(p->x, n, top));
    of->all[bin]++;
    of->flat[bin] += flat;
}

void peaks_add(peaks *p, const float *x, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        int sign = x[i] > 0 ? 1 : x[i] < 0 ? -1 : p->sign;
        if (sign != p->sign) {
            end_half_wave(p);
            p->n = 0;
            p->sign = sign;
        }
        if (p->n < LONGEST)
            p->x[p->n] = x[i];
        p->n++;
    }
}

static size_t sum(const size_t *count, size_t from, size_t to)
{
    size_t total = 0;
    for (size_t i = from; i < to && i < BINS; i++)
        total += count[i];
    return total;
}

/* Half-waves cut within so many bins of the largest, or 0 when that is not what they are: `least`
 * of them flat, and such a share of all, so much more than further down. */
static size_t cut_within(const side *of, size_t top, size_t bins, size_t least, double share_least,
                         double more)
{
    size_t end = top + bins;
    size_t flat = sum(of->flat, top, end), all = sum(of->all, top, end);
    size_t low_flat = sum(of->flat, top + 4 * BINS_A_DB, top + 12 * BINS_A_DB);
    size_t low = sum(of->all, top + 4 * BINS_A_DB, top + 12 * BINS_A_DB);
    double usual = low ? (double)low_flat / (double)low : 0, share = (double)flat / (double)all;
    return flat >= least && share >= share_least && share >= usual + more ? flat : 0;
}

size_t peaks_cut(const peaks *p)
{
    size_t cut = 0;
    for (int k = 0; k < 2; k++) {
        size_t top = 0;
        while (top < BINS && !p->of[k].all[top])
            top++;
        if (top == BINS)
            continue;
        const side *of = &p->of[k];
        size_t most = of->sharp >= LEAST_SHARP ? of->sharp : 0;
        size_t soft = cut_within(of, top, 1, LEAST_SQUASHED, share_squashed, more_squashed);
        most = soft > most ? soft : most;
        for (size_t bins = 2; bins <= 8; bins *= 2) {
            size_t here = cut_within(of, top, bins, LEAST_FLAT, share_flat, share_more);
            most = here > most ? here : most;
        }
        cut += most;
    }
    return cut;
}
