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

static void shape_of(breaks_of of, float shape[PARTS], float square[PARTS])
{
    double over = frame_s / hypot(break_s, natures[of].heard_s);
    for (int k = 0; k < PARTS; k++) {
        double part = ramp_exact((k - NEAR + 0.5) * over) - ramp_exact((k - NEAR - 0.5) * over);
        shape[k] = (float)part;
        square[k] = (float)(part * part);
    }
}

/* The changes on entering the frames of a stretch, with NEAR beyond either end and room for whole
 * lanes; 0, and `there` 0, where it is not sung or the voice has a hole. */
typedef struct changes {
    size_t n;
    float *y, *there;
} changes;

static changes changes_of(const evidence *ev, const double *curve, size_t first, size_t last)
{
    size_t n = last - first + 1, room = n + PARTS + 2 * LANES;
    changes c = {n, xcalloc(room, sizeof *c.y), xcalloc(room, sizeof *c.there)};
    for (size_t i = first + 1; i <= last; i++) {
        bool sung = ev->edge_s[i] >= 0 && ev->edge_s[i - 1] >= 0;
        if (sung && ev->gap_s[i] < 1.5 * frame_s) {
            c.y[i - first + NEAR] = (float)(curve[i] - curve[i - 1]);
            c.there[i - first + NEAR] = 1;
        }
    }
    return c;
}

/* For each frame of a stretch sums over the changes about it: of the shape of a break there, of its
 * product with the changes, and of its square; n up to whole lanes. */
typedef struct matches {
    float *shape, *change, *square;
} matches;

static matches matches_of(breaks_of of, const changes *c)
{
    float shape[PARTS], square[PARTS];
    size_t room = c->n + LANES;
    matches m = {xmalloc(room, sizeof *m.shape), xmalloc(room, sizeof *m.change),
                 xmalloc(room, sizeof *m.square)};
    shape_of(of, shape, square);
    for (size_t i = 0; i < c->n; i += LANES) {
        lanes_correlate(shape, c->there + i, PARTS, m.shape + i);
        lanes_correlate(shape, c->y + i, PARTS, m.change + i);
        lanes_correlate(square, c->there + i, PARTS, m.square + i);
    }
    return m;
}

static void measure_one(breaks_of of, const evidence *ev, size_t first, size_t last, double *out)
{
    changes c = changes_of(ev, curve_of(of, ev), first, last);
    matches m = matches_of(of, &c);
    double y[2 * FAR + BLOCK], known = 1 / squared(natures[of].step);
    float scratch[2 * FAR + BLOCK + LANES];
    for (size_t lo = 0; lo < c.n; lo += BLOCK) {
        size_t around = 0;
        for (size_t i = lo < FAR ? 0 : lo - FAR; i < c.n && i < lo + BLOCK + FAR; i++)
            if (c.there[i + NEAR] > 0)
                y[around++] = (double)c.y[i + NEAR];
        double usual, weight = centre(&natures[of], y, around, scratch, &usual);
        for (size_t i = lo; i < c.n && i < lo + BLOCK; i++) {
            double pull = weight * ((double)m.change[i] - usual * (double)m.shape[i]);
            double mass = known + weight * (double)m.square[i], nats = nats_of(pull, mass, known);
            out[first + i] = around ? copysign(log1p(fmax(0, nats)), pull) : 0;
        }
    }
    free(m.shape);
    free(m.change);
    free(m.square);
    free(c.y);
    free(c.there);
}

void breaks_measure(evidence *ev, size_t first, size_t last)
{
    measure_one(BREAKS_OF_PITCH, ev, first, last, ev->pitch_break);
    measure_one(BREAKS_OF_LEVEL, ev, first, last, ev->level_break);
}
