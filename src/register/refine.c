/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/refine.h"

#include <math.h>

/* 10-90 % times tried, seconds, half an octave apart, and the spread of the 30 ms Hann window of
 * the harmonics and of the pitch's correlation window, as 10-90 % times. */
static const double widths_s[] = {0.006, 0.009, 0.013, 0.019, 0.027, 0.039,
                                  0.056, 0.080, 0.113, 0.160, 0.226, 0.320};
enum { WIDTHS = sizeof widths_s / sizeof *widths_s, PLACES = 81, MIDDLE = PLACES / 2 };
static const double harmonics_s = 0.018, pitch_s = 0.012;
static const double search_s = 0.080, reach_s = 0.200;
static const double least_leap_st = 1;
/* What frames scatter by at the least, and the share that each counts for, because neighbouring
 * coordinates and pitches agree. */
static const double pitch_sd_st = 0.12, pitch_counts = 0.3;
static const double coordinate_sd = 0.5, coordinate_counts = 0.1;
/* Before anything is looked at: the chain is right within 40 ms, the coordinate steps by one
 * register, give or take what drifts; a leap takes 35 ms, a change without one 150 ms, with
 * standard deviations as factors of e and of the root of e. */
static const double place_sd_s = 0.040, height_sd = 0.4;
static const double leap_share = 0.25, leap_more_st = 0.5; /* the pitch steps by the leap, give or
                                                              take so much of it and so much more */
static const double leap_width_s = 0.035, leap_width_sd = 1;
static const double smooth_width_s = 0.150, smooth_width_sd = 0.5;

typedef struct sums { /* of a fit of level, ramp and trend */
    double a[3][3], b[3], yy;
} sums;

/* Cumulative normal with this 10-90 % time. */
static double ramp(double x_s, double width_s)
{
    return 0.5 * (1 + erf(x_s * 1.8124 / width_s));
}

static void add(sums *s, double w, double x, double phi, double y)
{
    double v[3] = {1, x, phi};
    for (int i = 0; i < 3; i++) {
        s->b[i] += w * v[i] * y;
        for (int j = 0; j < 3; j++)
            s->a[i][j] += w * v[i] * v[j];
    }
    s->yy += w * y * y;
}

/* The ramp's height is known to be near `height`. */
static void expect(sums *s, double height, double sd)
{
    double w = 1 / (sd * sd);
    s->a[2][2] += w;
    s->b[2] += w * height;
    s->yy += w * height * height;
}

/* Sum of squares that the best fit leaves, by elimination. */
static double left_over(const sums *s)
{
    double a[3][4], left = s->yy;
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++)
            a[i][j] = s->a[i][j] + (i == j ? 1e-6 * (1 + s->a[0][0]) : 0);
        a[i][3] = s->b[i];
    }
    for (int c = 0; c < 3; c++) {
        left -= a[c][3] * a[c][3] / a[c][c];
        for (int r = c + 1; r < 3; r++)
            for (int k = 3; k >= c; k--)
                a[r][k] -= a[r][c] / a[c][c] * a[c][k];
    }
    return left;
}

typedef struct window {
    size_t lo, hi;
    double pitch_ref, height;
    double leap_st;      /* the largest near by */
    double pitch_counts; /* what a frame's pitch counts for, 1/st^2 */
    bool leaps;          /* the pitch tells, too; without a leap it holds only vibrato */
} window;

/* What a ramp of the pitch leaves. */
static double pitch_misfit(const evidence *ev, const double *time_s, const window *w, double tau,
                           double width_s)
{
    sums p = {.yy = 0};
    double wide = hypot(width_s, pitch_s);
    for (size_t i = w->lo; i <= w->hi; i++) {
        double x = time_s[i] - tau;
        add(&p, w->pitch_counts, x, ramp(x, wide), ev->pitch_st[i] - w->pitch_ref);
    }
    expect(&p, w->leap_st, leap_share * fabs(w->leap_st) + leap_more_st);
    return left_over(&p);
}

static double misfit(const evidence *ev, const double *time_s, const saying *says, const window *w,
                     double tau, double width_s)
{
    sums c = {.yy = 0};
    double wide = hypot(width_s, harmonics_s);
    for (size_t i = w->lo; i <= w->hi; i++) {
        double x = time_s[i] - tau, mass = says[i].mass * says[i].weight;
        double spread = coordinate_sd * coordinate_sd + 1 / fmax(mass, 1e-3);
        if (mass > 0)
            add(&c, coordinate_counts / spread, x, ramp(x, wide), says[i].z / says[i].mass);
    }
    expect(&c, w->height, height_sd);
    double of_pitch = w->leaps ? pitch_misfit(ev, time_s, w, tau, width_s) : 0;
    return left_over(&c) + of_pitch;
}

/* Where vibrato goes on beside a leap, the frames' pitch scatters by that. */
static void weigh_pitch(const evidence *ev, const double *time_s, double about, window *w)
{
    double frames = pitch_counts * (double)(w->hi - w->lo + 1);
    w->pitch_counts = pitch_counts / (pitch_sd_st * pitch_sd_st);
    double left = pitch_misfit(ev, time_s, w, about, leap_width_s);
    w->pitch_counts /= fmax(1, left / frames);
}

static double squared(double x)
{
    return x * x;
}

static double place_of(int k)
{
    return (k - MIDDLE) * search_s / MIDDLE;
}

/* Minus twice the log of the weight that the width and the place have beforehand. */
static double prior(const window *w, double off_s, double width_s)
{
    double usual = w->leaps ? leap_width_s : smooth_width_s;
    double sd = w->leaps ? leap_width_sd : smooth_width_sd;
    return squared(off_s / place_sd_s) + squared(log(width_s / usual) / sd);
}

refined refine_flip(const evidence *ev, const double *time_s, const saying *says, size_t first,
                    size_t last, size_t at, bool up)
{
    double about = at > first ? 0.5 * (time_s[at] + time_s[at - 1]) : time_s[at];
    window w = {.lo = at, .hi = at, .pitch_ref = ev->pitch_st[at], .height = up ? 1 : -1};
    while (w.lo > first && about - time_s[w.lo - 1] <= reach_s)
        w.lo--;
    while (w.hi < last && time_s[w.hi + 1] - about <= reach_s)
        w.hi++;
    for (size_t i = w.lo; i <= w.hi; i++)
        if (fabs(ev->leap_st[i]) > fabs(w.leap_st) && fabs(time_s[i] - about) <= search_s)
            w.leap_st = ev->leap_st[i];
    w.leaps = fabs(w.leap_st) > least_leap_st;
    if (w.leaps)
        weigh_pitch(ev, time_s, about, &w);
    double left[WIDTHS][PLACES], least = (double)INFINITY, sum = 0, place = 0, width = 0;
    for (int k = 0; k < WIDTHS; k++)
        for (int j = 0; j < PLACES; j++) {
            double tau = about + place_of(j);
            bool within = tau >= time_s[w.lo] + 0.005 && tau <= time_s[w.hi] - 0.005;
            left[k][j] = (double)INFINITY;
            if (within)
                left[k][j] = prior(&w, place_of(j), widths_s[k]) +
                             misfit(ev, time_s, says, &w, tau, widths_s[k]);
            least = fmin(least, left[k][j]);
        }
    for (int k = 0; k < WIDTHS; k++)
        for (int j = 0; isfinite(least) && j < PLACES; j++) {
            double weight = exp(-0.5 * (left[k][j] - least));
            sum += weight;
            place += weight * place_of(j);
            width += weight * log(widths_s[k]);
        }
    return sum > 0 ? (refined){about + place / sum, 1000 * exp(width / sum)}
                   : (refined){about, (double)NAN};
}
