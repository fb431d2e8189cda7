/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/refine.h"

#include "base/array.h"
#include "register/breaks.h"

#include <math.h>
#include <stdlib.h>

/* 10-90 % times tried, seconds, half an octave apart, and the spread of the 30 ms Hann window of
 * the harmonics, as a 10-90 % time. */
static const double widths_s[] = {0.006, 0.009, 0.013, 0.019, 0.027, 0.039,
                                  0.056, 0.080, 0.113, 0.160, 0.226, 0.320};
enum { WIDTHS = sizeof widths_s / sizeof *widths_s, PLACES = 121, MIDDLE = PLACES / 2 };
static const double harmonics_s = 0.018;
static const double leap_within_s = 0.080, reach_s = 0.200;
static const double least_leap_st = 1; /* less may be vibrato */
/* What the coordinates scatter by at the least, and the share that each frame counts for, because
 * neighbours agree. */
static const double coordinate_sd = 0.5, coordinate_counts = 0.1;
/* Before anything is looked at: the chain is right within 40 ms, the coordinate steps by one
 * register, give or take what drifts; a leap takes 35 ms, a change without one 150 ms, with
 * standard deviations as factors of e and of the root of e. */
static const double place_sd_s = 0.040, height_sd = 0.4;
static const double leap_width_s = 0.035, leap_width_sd = 1;
static const double out_of_reach = 60; /* of minus twice a log: a weight of 1e-13 */
static const double smooth_width_s = 0.150, smooth_width_sd = 0.5;

static double squared(double x)
{
    return x * x;
}

typedef struct point {         /* what a frame says */
    double x, y, w;            /* seconds from the middle, coordinate or pitch, weight */
    double w_on, wx_on, wy_on; /* sums from this frame on */
} point;

/* What level, trend and ramp are fitted to; the ramp's height is known to be near `height`. */
typedef struct points {
    size_t n;
    point *items;
    double a00, a01, a11, b0, b1, yy; /* sums that are the same for every ramp */
    double height, height_sd;
} points;

static void points_add(points *p, double x, double y, double w)
{
    p->items[p->n++] = (point){.x = x, .y = y, .w = w};
    p->a00 += w;
    p->a01 += w * x;
    p->a11 += w * x * x;
    p->b0 += w * y;
    p->b1 += w * x * y;
    p->yy += w * y * y;
}

/* After the last of them; there is room for one more. */
static void points_end(points *p)
{
    p->items[p->n] = (point){.w_on = 0};
    for (size_t i = p->n; i-- > 0;) {
        point *q = &p->items[i], *next = q + 1;
        q->w_on = next->w_on + q->w;
        q->wx_on = next->wx_on + q->w * q->x;
        q->wy_on = next->wy_on + q->w * q->y;
    }
}

/* Sum of squares that the best fit leaves of `left`, by elimination. */
static double left_over(double a[3][4], double left)
{
    double slip = 1e-6 * (1 + a[0][0]);
    for (int i = 0; i < 3; i++)
        a[i][i] += slip;
    for (int c = 0; c < 3; c++) {
        left -= a[c][3] * a[c][3] / a[c][c];
        for (int r = c + 1; r < 3; r++)
            for (int k = 3; k >= c; k--)
                a[r][k] -= a[r][c] / a[c][c] * a[c][k];
    }
    return left;
}

/* What a ramp at tau seconds from the middle leaves. */
static double misfit(const points *p, const ramp *r, double tau, double width_s)
{
    double known = 1 / squared(p->height_sd), over = 1 / width_s;
    double a02 = 0, a12 = 0, a22 = known, b2 = known * p->height;
    const point *q = p->items, *end = p->items + p->n;
    while (q < end && q->x < tau - RAMP_REACH * width_s)
        q++;
    for (; q < end && q->x < tau + RAMP_REACH * width_s; q++) {
        double phi = ramp_at(r, (q->x - tau) * over), part = q->w * phi;
        a02 += part;
        a12 += part * q->x;
        a22 += part * phi;
        b2 += part * q->y;
    }
    a02 += q->w_on;
    a12 += q->wx_on;
    a22 += q->w_on;
    b2 += q->wy_on;
    double a[3][4] = {
        {p->a00, p->a01, a02, p->b0}, {p->a01, p->a11, a12, p->b1}, {a02, a12, a22, b2}};
    return left_over(a, p->yy + known * squared(p->height));
}

typedef struct window {
    size_t lo, hi;
    double lo_s, hi_s; /* its ends, from the middle */
    double leap_st;    /* the largest near by */
    points coordinate;
    motion pitch, level;
    ramp phi;
} window;

static void window_bound(window *w, const evidence *ev, const double *time_s, size_t first,
                         size_t last, double about)
{
    while (w->lo > first && about - time_s[w->lo - 1] <= reach_s)
        w->lo--;
    while (w->hi < last && time_s[w->hi + 1] - about <= reach_s)
        w->hi++;
    w->lo_s = time_s[w->lo] - about;
    w->hi_s = time_s[w->hi] - about;
    for (size_t i = w->lo; i <= w->hi; i++)
        if (fabs(ev->leap_st[i]) > fabs(w->leap_st) && fabs(time_s[i] - about) <= leap_within_s)
            w->leap_st = ev->leap_st[i];
}

static points coordinates_of(const window *w, const double *time_s, const saying *says,
                             double about, bool up)
{
    points p = {.items = xmalloc(w->hi - w->lo + 2, sizeof *p.items),
                .height = up ? 1 : -1,
                .height_sd = height_sd};
    for (size_t i = w->lo; i <= w->hi; i++) {
        double mass = says[i].mass * says[i].weight;
        double spread = coordinate_sd * coordinate_sd + 1 / fmax(mass, 1e-3);
        if (mass > 0)
            points_add(&p, time_s[i] - about, says[i].z / says[i].mass, coordinate_counts / spread);
    }
    points_end(&p);
    return p;
}

static double place_of(int k)
{
    return (k - MIDDLE) * MOTION_STEP_S;
}

/* Minus twice the log of the weight that the width and the place have beforehand. */
static double prior(const window *w, double off_s, double width_s)
{
    bool leaps = fabs(w->leap_st) > least_leap_st;
    double usual = leaps ? leap_width_s : smooth_width_s;
    double sd = leaps ? leap_width_sd : smooth_width_sd;
    return squared(off_s / place_sd_s) + squared(log(width_s / usual) / sd);
}

/* left[PLACES]: minus twice the log of what speaks for a change of width k at each place; infinite
 * beyond the ends of the voice, and where it is so far above `least` that it counts for nothing.
 * Returns the least of all. */
static double try_width(const window *w, int k, double least, double left[PLACES])
{
    double by_pitch[PLACES], by_level[PLACES], width_s = widths_s[k];
    motion_says(&w->pitch, BREAKS_OF_PITCH, &w->phi, width_s, place_of(0), PLACES, by_pitch);
    motion_says(&w->level, BREAKS_OF_LEVEL, &w->phi, width_s, place_of(0), PLACES, by_level);
    for (int j = 0; j < PLACES; j++) {
        double tau = place_of(j);
        left[j] = prior(w, tau, width_s) - 2 * by_pitch[j] - 2 * by_level[j];
        if (tau < w->lo_s + 0.005 || tau > w->hi_s - 0.005 || left[j] > least + out_of_reach)
            left[j] = (double)INFINITY;
        else
            left[j] += misfit(&w->coordinate, &w->phi, tau, hypot(width_s, harmonics_s));
        least = fmin(least, left[j]);
    }
    return least;
}

static refined mean_place(const window *w, double about)
{
    double left[WIDTHS][PLACES], least = (double)INFINITY, sum = 0, place = 0, width = 0;
    for (int k = 0; k < WIDTHS; k++)
        least = try_width(w, k, least, left[k]);
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

refined refine_flip(const evidence *ev, const double *time_s, const saying *says, size_t first,
                    size_t last, size_t at, bool up)
{
    double about = at > first ? 0.5 * (time_s[at] + time_s[at - 1]) : time_s[at];
    window w = {.lo = at, .hi = at};
    ramp_fill(&w.phi);
    window_bound(&w, ev, time_s, first, last, about);
    w.coordinate = coordinates_of(&w, time_s, says, about, up);
    w.pitch = motion_new(BREAKS_OF_PITCH, ev, time_s, w.lo, w.hi, about, fabs(w.leap_st));
    w.level = motion_new(BREAKS_OF_LEVEL, ev, time_s, w.lo, w.hi, about, 0);
    refined r = mean_place(&w, about);
    free(w.coordinate.items);
    motion_clear(&w.pitch);
    motion_clear(&w.level);
    return r;
}

turns refine_turns(const evidence *ev, const double *time_s, const saying *says, const turns *c,
                   refined *places)
{
    turns placed = {c->n, c->n, xmalloc(c->n, sizeof *placed.items)};
    for (size_t k = 0; k < c->n; k++) {
        turn *t = &placed.items[k];
        *t = c->items[k];
        places[k].time_s = (double)NAN;
        if (t->brief)
            continue;
        places[k] = refine_flip(ev, time_s, says, t->first, t->last, t->at, t->up);
        for (t->at = t->first + 1; t->at < t->last && time_s[t->at] < places[k].time_s;)
            t->at++;
    }
    return placed;
}
