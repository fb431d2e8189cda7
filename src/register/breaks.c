/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/breaks.h"

#include "base/array.h"
#include "base/lanes.h"

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

/* Takes their median, NaN of none, from y[n]; returns the weight of each. scratch: [n + LANES]. */
static double centre(const struct nature *by, double *y, size_t n, float *scratch, double *usual)
{
    for (size_t k = 0; k < n; k++)
        scratch[k] = (float)y[k];
    *usual = (double)lanes_median(scratch, n);
    for (size_t k = 0; k < n; k++) {
        y[k] -= *usual;
        scratch[k] = (float)fabs(y[k]);
    }
    return by->counts / squared(fmax(by->wander, (double)lanes_median(scratch, n) / 0.6745));
}

/* A crack leaves a hole of a few frames; what changes in it has changed evenly. */
enum { BRIDGED = 5 };

motion motion_new(breaks_of of, const evidence *ev, const double *time_s, size_t lo, size_t hi,
                  double about, double least_step)
{
    const double *curve = curve_of(of, ev);
    size_t room = (size_t)((time_s[hi] - time_s[lo]) / frame_s + 1.5), n = 0;
    size_t *slot = xmalloc(room, sizeof *slot);
    double *y = xmalloc(room, sizeof *y);
    float *scratch = xmalloc(room + LANES, sizeof *scratch);
    motion m = {.n = room,
                .first_s = time_s[lo] + 0.5 * frame_s - about,
                .y = xcalloc(room, sizeof *m.y),
                .there = xcalloc(room, sizeof *m.there),
                .known = 1 / squared(fmax(natures[of].step, least_step))};
    for (size_t i = lo + 1; i <= hi; i++) {
        size_t at = (size_t)((time_s[i - 1] - time_s[lo]) / frame_s + 0.5);
        size_t over = (size_t)((time_s[i] - time_s[i - 1]) / frame_s + 0.5);
        for (size_t k = 0; over <= BRIDGED && k < over; k++) {
            slot[n] = at + k;
            y[n++] = (curve[i] - curve[i - 1]) / (double)over;
        }
    }
    double usual;
    m.weight = centre(&natures[of], y, n, scratch, &usual);
    for (size_t k = 0; k < n; k++) {
        m.y[slot[k]] = (float)y[k];
        m.there[slot[k]] = 1;
    }
    free(scratch);
    free(y);
    free(slot);
    return m;
}

void motion_clear(motion *m)
{
    free(m->y);
    free(m->there);
    *m = (motion){.n = 0};
}

static double nats_of(double pull, double mass, double known)
{
    return 0.5 * (pull * pull / mass - log(mass / known));
}

/* What a step tau_s after the middle of a change makes of that change and its REACH neighbours. */
enum { REACH = 135, SPAN = 2 * REACH + 1 };
static void shape_at(const ramp *r, double tau_s, double over, int reach, float *part,
                     float *square)
{
    double below = ramp_at(r, (-(reach + 0.5) * frame_s - tau_s) * over);
    for (int k = -reach; k <= reach; k++) {
        double above = ramp_at(r, ((k + 0.5) * frame_s - tau_s) * over);
        part[k + reach] = (float)(above - below);
        square[k + reach] = (float)squared(above - below);
        below = above;
    }
}

void motion_says(const motion *m, breaks_of of, const ramp *r, double width_s, double tau_s,
                 size_t n, double *nats)
{
    float part[SPAN], square[SPAN];
    double heard_s = hypot(width_s, natures[of].heard_s);
    long reach = (long)fmin(RAMP_REACH * heard_s / frame_s + 1.5, REACH);
    for (size_t phase = 0; phase < MOTION_PERIOD; phase++) {
        double at = (tau_s + (double)phase * MOTION_STEP_S - m->first_s) / frame_s;
        long mid = (long)floor(at + 0.5);
        shape_at(r, (at - (double)mid) * frame_s, 1 / heard_s, (int)reach, part, square);
        for (size_t j = phase; j < n; j += MOTION_PERIOD, mid += 2) {
            long lo = mid - reach > 0 ? mid - reach : 0;
            long hi = mid + reach + 1 < (long)m->n ? mid + reach + 1 : (long)m->n;
            size_t some = hi > lo ? (size_t)(hi - lo) : 0;
            const float *p = part + (lo - mid + reach), *s = square + (lo - mid + reach);
            double pull = some ? m->weight * (double)lanes_dot(p, m->y + lo, some) : 0;
            double mass = some ? m->weight * (double)lanes_dot(s, m->there + lo, some) : 0;
            nats[j] = nats_of(pull, m->known + mass, m->known);
        }
    }
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
    double shape[PARTS], y[2 * FAR + BLOCK];
    float scratch[2 * FAR + BLOCK + LANES];
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
