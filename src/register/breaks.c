/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/breaks.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double frame_s = 0.005;

/* The least that the curve changes by in a frame, the share that each change counts for because
 * neighbours agree, how large steps usually are, and the 10-90 % time of what the window through
 * which the curve is heard does to one. */
static const struct nature {
    double wander, counts, step, heard_s;
} natures[BREAKS_OF] = {
    [BREAKS_OF_PITCH] = {0.005, 0.2, 0.7, 0.012}, [BREAKS_OF_LEVEL] = {0.02, 0.1, 3, 0.024}};

static double squared(double x)
{
    return x * x;
}

static const double *curve_of(breaks_of of, const evidence *ev)
{
    return of == BREAKS_OF_PITCH ? ev->pitch_st : ev->level_db;
}

/* Takes their median, NaN of none, from y[n]; returns the weight of each. scratch: [n]. */
static double centre(const struct nature *by, double *y, size_t n, double *scratch, double *usual)
{
    if (n)
        memcpy(scratch, y, n * sizeof *scratch);
    *usual = array_median(scratch, n);
    for (size_t k = 0; k < n; k++) {
        y[k] -= *usual;
        scratch[k] = fabs(y[k]);
    }
    return by->counts / squared(fmax(by->wander, array_median(scratch, n) / 0.6745));
}

motion motion_new(breaks_of of, const evidence *ev, const double *time_s, size_t lo, size_t hi,
                  double about, double least_step)
{
    const double *curve = curve_of(of, ev);
    size_t room = hi - lo + 1;
    motion m = {.x = xmalloc(room, sizeof *m.x),
                .y = xmalloc(room, sizeof *m.y),
                .known = 1 / squared(fmax(natures[of].step, least_step))};
    for (size_t i = lo + 1; i <= hi; i++)
        if (time_s[i] - time_s[i - 1] < 1.5 * frame_s) {
            m.x[m.n] = 0.5 * (time_s[i] + time_s[i - 1]) - about;
            m.y[m.n++] = curve[i] - curve[i - 1];
        }
    double *scratch = xmalloc(room, sizeof *scratch), usual;
    m.weight = centre(&natures[of], m.y, m.n, scratch, &usual);
    free(scratch);
    return m;
}

void motion_clear(motion *m)
{
    free(m->x);
    free(m->y);
    *m = (motion){.n = 0};
}

static double nats_of(double pull, double mass, double known)
{
    return 0.5 * (pull * pull / mass - log(mass / known));
}

/* The first change that lies at or after x. */
static size_t first_from(const motion *m, double x)
{
    size_t lo = 0, hi = m->n;
    while (lo < hi) {
        size_t mid = (lo + hi) / 2;
        if (m->x[mid] < x)
            lo = mid + 1;
        else
            hi = mid;
    }
    return lo;
}

double motion_says(const motion *m, breaks_of of, const ramp *r, double tau, double width_s)
{
    double heard_s = hypot(width_s, natures[of].heard_s), over = 1 / heard_s;
    double reach = RAMP_REACH * heard_s + 0.5 * frame_s, mass = 0, pull = 0;
    double end = -(double)INFINITY, risen = 0; /* of the change before, and the ramp there */
    for (size_t k = first_from(m, tau - reach); k < m->n && m->x[k] - tau <= reach; k++) {
        double from = m->x[k] - tau - 0.5 * frame_s;
        double below = fabs(from - end) < 1e-6 ? risen : ramp_at(r, from * over);
        end = from + frame_s;
        risen = ramp_at(r, end * over);
        mass += squared(risen - below);
        pull += (risen - below) * m->y[k];
    }
    return nats_of(m->weight * pull, m->known + m->weight * mass, m->known);
}

/* What a break of usual width does to the changes from frame to frame about it. */
enum { NEAR = 8, PARTS = 2 * NEAR + 1, FAR = 40, BLOCK = 10 };
static const double break_s = 0.02;

static void shape_of(breaks_of of, double shape[PARTS])
{
    double over = frame_s / hypot(break_s, natures[of].heard_s);
    for (int k = 0; k < PARTS; k++)
        shape[k] = ramp_exact((k - NEAR + 0.5) * over) - ramp_exact((k - NEAR - 0.5) * over);
}

/* The change on entering frame i of a stretch that begins with `first`; NaN where it is not sung or
 * the voice has a hole. */
static double change_at(const evidence *ev, const double *curve, size_t first, size_t i)
{
    bool sung = i > first && ev->edge_s[i] >= 0 && ev->edge_s[i - 1] >= 0;
    return sung && ev->gap_s[i] < 1.5 * frame_s ? curve[i] - curve[i - 1] : (double)NAN;
}

static double break_at(const double *change, size_t n, size_t i, const double shape[PARTS],
                       double usual, double weight, double known)
{
    double mass = known, pull = 0;
    for (size_t k = i < NEAR ? NEAR - i : 0; k < PARTS && i + k < n + NEAR; k++) {
        double y = change[i + k - NEAR] - usual;
        if (isnan(y))
            continue;
        mass += weight * shape[k] * shape[k];
        pull += weight * shape[k] * y;
    }
    return copysign(log1p(fmax(0, nats_of(pull, mass, known))), pull);
}

static void measure_one(breaks_of of, const evidence *ev, size_t first, size_t last, double *out)
{
    const double *curve = curve_of(of, ev);
    size_t n = last - first + 1;
    double shape[PARTS], y[2 * FAR + BLOCK], scratch[2 * FAR + BLOCK];
    double known = 1 / squared(natures[of].step), *change = xmalloc(n, sizeof *change);
    shape_of(of, shape);
    for (size_t i = 0; i < n; i++)
        change[i] = change_at(ev, curve, first, first + i);
    for (size_t lo = 0; lo < n; lo += BLOCK) {
        size_t around = 0;
        for (size_t i = lo < FAR ? 0 : lo - FAR; i < n && i < lo + BLOCK + FAR; i++)
            if (!isnan(change[i]))
                y[around++] = change[i];
        double usual, weight = centre(&natures[of], y, around, scratch, &usual);
        for (size_t i = lo; i < n && i < lo + BLOCK; i++)
            out[first + i] = break_at(change, n, i, shape, usual, weight, known);
    }
    free(change);
}

void breaks_measure(evidence *ev, size_t first, size_t last)
{
    measure_one(BREAKS_OF_PITCH, ev, first, last, ev->pitch_break);
    measure_one(BREAKS_OF_LEVEL, ev, first, last, ev->level_break);
}
