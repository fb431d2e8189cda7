/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/refine.h"

#include <math.h>
#include <stdbool.h>

/* 10-90 % times tried, seconds, and the spread of the 30 ms Hann window of the harmonics and of the
 * pitch's correlation window, as 10-90 % times. */
static const double widths_s[] = {0.010, 0.020, 0.035, 0.060, 0.090, 0.130, 0.180};
static const double harmonics_s = 0.018, pitch_s = 0.012;
static const double search_s = 0.080, reach_s = 0.200;
static const double least_leap_st = 1;
/* What the frames scatter by at the least: neighbouring coordinates and pitches agree, so that a
 * frame counts as a few hundredths of an independent one. */
static const double pitch_sd_st = 0.12, coordinate_sd = 0.5;

typedef struct sums { /* weighted sums of a straight line plus ramp fit */
    double a[3][3], b[3], yy, w;
} sums;

/* Cumulative normal with this 10-90 % time. */
static double ramp(double x_s, double width_s)
{
    return 0.5 * (1 + erf(x_s * 1.8124 / width_s));
}

static void add(sums *s, double w, double x, double phi, double y)
{
    double v[3] = {1, phi, x};
    for (int i = 0; i < 3; i++) {
        s->b[i] += w * v[i] * y;
        for (int j = 0; j < 3; j++)
            s->a[i][j] += w * v[i] * v[j];
    }
    s->yy += w * y * y;
    s->w += w;
}

/* Least squares by elimination; returns what is left. */
static double left_over(const sums *s)
{
    double a[3][4];
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++)
            a[i][j] = s->a[i][j] + (i == j ? 1e-6 * (1 + s->w) : 0);
        a[i][3] = s->b[i];
    }
    /* level, trend, then the ramp */
    static const int order[3] = {0, 2, 1};
    for (int p = 0; p < 3; p++) {
        int c = order[p];
        for (int q = p + 1; q < 3; q++) {
            int r = order[q];
            double f = a[r][c] / a[c][c];
            for (int k = 0; k < 4; k++)
                a[r][k] -= f * a[c][k];
        }
    }
    double x[3];
    x[1] = a[1][3] / a[1][1];
    x[2] = (a[2][3] - a[2][1] * x[1]) / a[2][2];
    x[0] = (a[0][3] - a[0][2] * x[2] - a[0][1] * x[1]) / a[0][0];
    double left = s->yy;
    for (int i = 0; i < 3; i++)
        left -= x[i] * s->b[i];
    return left;
}

typedef struct window {
    size_t lo, hi;
    double pitch_ref;
    bool leaps; /* the pitch tells, too; without a leap it holds only vibrato */
} window;

static double misfit(const evidence *ev, const double *time_s, const saying *says, window w,
                     double tau, double width_s)
{
    sums c = {.w = 0}, p = {.w = 0};
    double wide_c = hypot(width_s, harmonics_s), wide_p = hypot(width_s, pitch_s);
    for (size_t i = w.lo; i <= w.hi; i++) {
        double x = time_s[i] - tau, mass = says[i].mass * says[i].weight;
        double spread = coordinate_sd * coordinate_sd + 1 / fmax(mass, 1e-3);
        if (mass > 0)
            add(&c, 1 / spread, x, ramp(x, wide_c), says[i].z / says[i].mass);
        if (w.leaps)
            add(&p, 1 / (pitch_sd_st * pitch_sd_st), x, ramp(x, wide_p),
                ev->pitch_st[i] - w.pitch_ref);
    }
    return left_over(&c) + (w.leaps ? left_over(&p) : 0);
}

refined refine_flip(const evidence *ev, const double *time_s, const saying *says, size_t first,
                    size_t last, size_t at)
{
    double about = at > first ? 0.5 * (time_s[at] + time_s[at - 1]) : time_s[at];
    window w = {.lo = at, .hi = at, .pitch_ref = ev->pitch_st[at]};
    while (w.lo > first && about - time_s[w.lo - 1] <= reach_s)
        w.lo--;
    while (w.hi < last && time_s[w.hi + 1] - about <= reach_s)
        w.hi++;
    for (size_t i = w.lo; i <= w.hi; i++)
        w.leaps = w.leaps ||
                  (fabs(ev->leap_st[i]) > least_leap_st && fabs(time_s[i] - about) <= search_s);
    double search = w.leaps ? search_s : 0.08; /* else the chain knows the place better */
    refined best = {.time_s = about, .span_ms = (double)NAN};
    double least = (double)INFINITY;
    for (size_t k = 0; k < sizeof widths_s / sizeof *widths_s; k++)
        for (int step = -40; step <= 40; step++) {
            refined now = {.time_s = about + step * search / 40, .span_ms = 1000 * widths_s[k]};
            if (now.time_s < time_s[w.lo] + 0.005 || now.time_s > time_s[w.hi] - 0.005)
                continue;
            double left = misfit(ev, time_s, says, w, now.time_s, widths_s[k]);
            if (left < least) {
                least = left;
                best = now;
            }
        }
    return best;
}
