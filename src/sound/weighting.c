/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/weighting.h"

#include "base/array.h"

#include <assert.h>
#include <complex.h>
#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Poles of the analogue curves, Hz (IEC 61672-1, annex E). */
static const double f1 = 20.598997, f2 = 107.65265, f3 = 737.86223, f4 = 12194.217;
static const double highest_hz = 20500;
static const double reference_hz = 1000;

enum { SIDE = 3, TAPS = 2 * SIDE + 1, LOW_PAIRS = 2 };

/* Two first-order high-passes in one: y = x - 2 x1 + x2 + a1 y1 + a2 y2. */
typedef struct low_pair {
    double a1, a2, x1, x2, y1, y2;
} low_pair;

struct weighting {
    weighting_curve curve;
    double rate_hz, gain;
    int pairs; /* 2 for A, 1 for C, 0 for Z */
    low_pair low[LOW_PAIRS];
    double side[SIDE + 1]; /* zeros: side[0] x3 + side[1] (x2 + x4) + ... */
    double a1, a2;         /* the double pole on high */
    double past[TAPS - 1], y1, y2;
    double pole; /* of Z's high-pass: y = x - x1 + pole y1 */
};

/* In dB, before the gain at 1 kHz is taken off. */
static double raw_db(weighting_curve curve, double hz)
{
    double sq = hz * hz;
    double power = sq / (sq + f1 * f1) / (1 + sq / (f4 * f4));
    if (curve == WEIGHTING_A)
        power *= sq / sqrt((sq + f2 * f2) * (sq + f3 * f3));
    return 20 * log10(power);
}

double weighting_db(weighting_curve curve, double hz)
{
    return curve == WEIGHTING_Z ? 0 : raw_db(curve, hz) - raw_db(curve, reference_hz);
}

/* The pole that makes both the slope towards 0 Hz and the gain at half the rate those of the
 * analogue high-pass: with gain g there, g (1 + p) / 2 = (1 - p) rate / (2 pi hz). */
static double low_pole(double hz, double rate_hz)
{
    double g = 1 / hypot(1, 2 * hz / rate_hz), r = g * M_PI * hz / rate_hz;
    return (1 - r) / (1 + r);
}

static low_pair pair_of(double a_hz, double b_hz, double rate_hz)
{
    double p = low_pole(a_hz, rate_hz), q = low_pole(b_hz, rate_hz);
    return (low_pair){.a1 = p + q, .a2 = -p * q};
}

/* Poles and zeros of the high end. The zeros' gain, side[0] + 2 sum side[k] cos(k w), is to be
 * (1 - 2 p cos w + p^2) / (1 + (f / f4)^2) at the nodes of Chebyshev interpolation in f. */
static void design_high(weighting *w)
{
    double p = exp(-2 * M_PI * f4 / w->rate_hz), top = fmin(highest_hz, w->rate_hz / 2);
    double m[(SIDE + 1) * (SIDE + 1)], wanted[SIDE + 1], found[SIDE + 1];
    for (int i = 0; i <= SIDE; i++) {
        double hz = top * cos(M_PI * (2 * i + 1) / (2.0 * TAPS)), turn = 2 * M_PI * hz / w->rate_hz;
        for (int k = 0; k <= SIDE; k++)
            m[i * (SIDE + 1) + k] = (k ? 2 : 1) * cos(k * turn);
        wanted[i] = (1 - 2 * p * cos(turn) + p * p) / (1 + hz * hz / (f4 * f4));
    }
    gsl_matrix_view a = gsl_matrix_view_array(m, SIDE + 1, SIDE + 1);
    gsl_vector_view b = gsl_vector_view_array(wanted, SIDE + 1);
    gsl_vector_view x = gsl_vector_view_array(found, SIDE + 1);
    size_t order[SIDE + 1];
    gsl_permutation swaps = {SIDE + 1, order};
    int sign;
    gsl_linalg_LU_decomp(&a.matrix, &swaps, &sign);
    gsl_linalg_LU_solve(&a.matrix, &swaps, &b.vector, &x.vector);
    for (int k = 0; k <= SIDE; k++)
        w->side[k] = found[k];
    w->a1 = 2 * p;
    w->a2 = -p * p;
}

/* Gain of the filter as it stands. */
static double gain_at(const weighting *w, double hz)
{
    double turn = 2 * M_PI * hz / w->rate_hz;
    double complex z = cexp(-turn * I);
    double zeros = w->side[0], gain = w->gain;
    for (int k = 1; k <= SIDE; k++)
        zeros += 2 * w->side[k] * cos(k * turn);
    for (int i = 0; i < w->pairs; i++)
        gain *= cabs((1 - z) * (1 - z) / (1 - w->low[i].a1 * z - w->low[i].a2 * z * z));
    return gain * fabs(zeros) / cabs(1 - w->a1 * z - w->a2 * z * z);
}

weighting *weighting_new(weighting_curve curve, int rate_hz)
{
    assert(rate_hz >= 8000);
    weighting *w = xcalloc(1, sizeof *w);
    *w = (weighting){.curve = curve, .rate_hz = rate_hz, .gain = 1};
    if (curve == WEIGHTING_Z) {
        w->pole = exp(-2 * M_PI * WEIGHTING_Z_HZ / w->rate_hz);
        w->gain = (1 + w->pole) / 2;
        return w;
    }
    w->pairs = curve == WEIGHTING_A ? 2 : 1;
    w->low[0] = pair_of(f1, f1, w->rate_hz);
    w->low[1] = pair_of(f2, f3, w->rate_hz);
    design_high(w);
    w->gain = 1 / gain_at(w, reference_hz);
    for (int k = 0; k <= SIDE; k++)
        w->side[k] *= w->gain;
    return w;
}

void weighting_free(weighting *w)
{
    free(w);
}

static void process_pair(low_pair *of, double *x, size_t n)
{
    low_pair s = *of;
    for (size_t i = 0; i < n; i++) {
        double y = x[i] - 2 * s.x1 + s.x2 + s.a2 * s.y2 + s.a1 * s.y1;
        s.x2 = s.x1;
        s.x1 = x[i];
        s.y2 = s.y1;
        x[i] = s.y1 = y;
    }
    *of = s;
}

/* The first pair and the high end in one loop: the processor works on both at once, since neither
 * waits for the other's last sample. */
static void process_ends(weighting *of, double *x, size_t n)
{
    low_pair s = of->low[0];
    const double c0 = of->side[0], c1 = of->side[1], c2 = of->side[2], c3 = of->side[3];
    const double a1 = of->a1, a2 = of->a2;
    double y1 = of->y1, y2 = of->y2;
    double p0 = of->past[0], p1 = of->past[1], p2 = of->past[2], p3 = of->past[3], p4 = of->past[4],
           p5 = of->past[5];
    for (size_t i = 0; i < n; i++) {
        double low = x[i] - 2 * s.x1 + s.x2 + s.a2 * s.y2 + s.a1 * s.y1;
        s.x2 = s.x1;
        s.x1 = x[i];
        s.y2 = s.y1;
        s.y1 = low;
        double zeros = c0 * p2 + c1 * (p1 + p3) + c2 * (p0 + p4) + c3 * (low + p5);
        double y = zeros + a2 * y2 + a1 * y1;
        p5 = p4, p4 = p3, p3 = p2, p2 = p1, p1 = p0, p0 = low;
        y2 = y1;
        x[i] = y1 = y;
    }
    const double past[TAPS - 1] = {p0, p1, p2, p3, p4, p5};
    of->low[0] = s;
    memcpy(of->past, past, sizeof past);
    of->y1 = y1;
    of->y2 = y2;
}

static void process_flat(weighting *w, double *x, size_t n)
{
    double x1 = w->past[0], y1 = w->y1;
    for (size_t i = 0; i < n; i++) {
        y1 = x[i] - x1 + w->pole * y1;
        x1 = x[i];
        x[i] = w->gain * y1;
    }
    w->past[0] = x1;
    w->y1 = y1;
}

void weighting_process(weighting *w, double *x, size_t n)
{
    if (w->curve == WEIGHTING_Z) {
        process_flat(w, x, n);
        return;
    }
    process_ends(w, x, n);
    if (w->pairs > 1)
        process_pair(&w->low[1], x, n);
}
