/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/trips.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

static const double frame_s = 0.005;
static const double least_trip_s = 0.05, longest_trip_s = 0.25;
static const double alone_s = 0.2; /* a trill or a turn goes on sooner */
static const double least_move_st = 2, least_st = 2.5;
static const double most_st = 13.5; /* no voice leaps farther: the pitch is misheard */
static const double alike = 0.5;    /* how far, re the trip, the voice may come back elsewhere */
static const double apart_db = 8;   /* a crack dips by less, a staccato or a consonant by more */
/* A ramp of 50 ms has a kink of 0.5, and no voice goes by 2.5 semitones sooner at will: it takes
 * 110 (Xu and Sun 2002, Maximum speed of pitch change; from memory). A crack of 30 ms has 0.8. */
static const double kinks[] = {0.5, 0.8};

/* A crack leaves a hole of a few frames. */
enum { BRIDGED = 5 };
enum { HALF = 4, FAR = 12, BESIDE = 20, PART = 5, REACH = 4 }; /* frames */

/* The pitch of a stretch every 5 ms, small holes bridged evenly, NaN in larger ones; which frame of
 * the evidence each place is, or the next one. */
typedef struct grid {
    size_t n;
    double *st, *move_st; /* move_st: from HALF before to HALF after */
    size_t *frame;
} grid;

static grid grid_new(const evidence *ev, size_t first, size_t last)
{
    double at = 0;
    for (size_t i = first + 1; i <= last; i++)
        at += ev->gap_s[i];
    size_t room = (size_t)(at / frame_s + 1.5);
    grid g = {0, xmalloc(room, sizeof *g.st), array_filled(room, 0),
              xmalloc(room, sizeof *g.frame)};
    at = 0;
    for (size_t i = first; i <= last; i++) {
        at += i > first ? ev->gap_s[i] : 0;
        size_t to = (size_t)(at / frame_s + 0.5), from = g.n;
        double before = from ? g.st[from - 1] : ev->pitch_st[i];
        for (; g.n <= to && g.n < room; g.n++) {
            double share = (double)(g.n + 1 - from) / (double)(to + 1 - from);
            bool known = g.n == to || to - from <= BRIDGED;
            g.st[g.n] = known ? before + share * (ev->pitch_st[i] - before) : (double)NAN;
            g.frame[g.n] = i;
        }
    }
    for (size_t k = HALF; k + HALF < g.n; k++) {
        double move = g.st[k + HALF] - g.st[k - HALF];
        g.move_st[k] = isnan(move) ? 0 : move;
    }
    return g;
}

static void grid_clear(grid *g)
{
    free(g->st);
    free(g->move_st);
    free(g->frame);
}

static double mean_st(const grid *g, size_t from, size_t to)
{
    double sum = 0;
    for (size_t k = from; k <= to; k++)
        sum += g->st[k];
    return sum / (double)(to - from + 1);
}

/* The most by which 25 ms about there move more than the 25 ms before and after on average. */
static double kink_at(const grid *g, size_t at, double leap_st)
{
    enum { WHOLE = 3 * PART };
    double most = 0;
    for (size_t k = at - REACH; k <= at + REACH; k++) {
        const double *p = g->st + k - WHOLE / 2;
        double inner = p[2 * PART] - p[PART], outer = p[WHOLE] - p[0] - inner;
        most = fmax(most, (inner - outer / 2) / leap_st);
    }
    return most;
}

/* Level of the loudest of the places from..to (sign 1), or minus that of the softest (-1). */
static double extreme_db(const evidence *ev, const grid *g, size_t from, size_t to, int sign)
{
    double most = -(double)INFINITY;
    for (size_t k = from; k <= to; k++)
        most = fmax(most, sign * ev->level_db[g->frame[k]]);
    return most;
}

/* Whether the notes beside the place are sung apart. */
static bool is_apart(const evidence *ev, const grid *g, size_t at)
{
    size_t lo = at > BESIDE ? at - BESIDE : 0, hi = at + BESIDE < g->n ? at + BESIDE : g->n - 1;
    double before = extreme_db(ev, g, lo, at - HALF, 1);
    double after = extreme_db(ev, g, at + HALF, hi, 1);
    return fmin(before, after) + extreme_db(ev, g, at - HALF, at + HALF, -1) > apart_db;
}

typedef struct trip { /* from place a to place b; what leaps away and back, and their kinks */
    size_t a, b;
    double out_st, back_st, out_kink, back_kink;
} trip;

/* Puts a leap at a place, for those of the frames lo..hi. */
static void put(evidence *ev, const grid *g, size_t at, double leap_st, double kink, size_t lo,
                size_t hi)
{
    size_t i = g->frame[at];
    for (size_t j = lo; j <= hi; j++)
        ev->leap_st[j] = 0;
    ev->leap_st[i] = leap_st;
    ev->sudden[i] = g->move_st[at] / leap_st;
    ev->kink[i] = kink;
    ev->slide[i] = 0;
}

static void put_trip(evidence *ev, const grid *g, const trip *t)
{
    double lesser = fmin(t->out_kink, t->back_kink);
    double sure = fmin((lesser - kinks[0]) / (kinks[1] - kinks[0]), 1);
    size_t mid = g->frame[(t->a + t->b) / 2];
    put(ev, g, t->a, t->out_st, t->out_kink, g->frame[t->a - FAR], mid);
    put(ev, g, t->b, t->back_st, t->back_kink, mid + 1, g->frame[t->b + FAR]);
    ev->trip[g->frame[t->a]] = ev->trip[g->frame[t->b]] = sure;
}

/* Whether the pitch goes elsewhere at t->a and comes back at t->b; fills in the rest. */
static bool is_trip(const evidence *ev, const grid *g, trip *t)
{
    size_t a = t->a, b = t->b;
    if (a < FAR || b + FAR >= g->n)
        return false;
    size_t in = b - a > 2 * HALF + 1 ? HALF : (b - a) / 2;
    double before = mean_st(g, a - FAR, a - HALF), after = mean_st(g, b + HALF, b + FAR);
    double there = mean_st(g, a + in, b - in);
    t->out_st = there - before;
    t->back_st = after - there;
    double least = fmin(fabs(t->out_st), fabs(t->back_st));
    double most = fmax(fabs(t->out_st), fabs(t->back_st));
    if (isnan(t->out_st + t->back_st) || t->out_st * t->back_st > 0 || least < least_st ||
        most > most_st || fabs(before - after) > alike * least)
        return false;
    if (is_apart(ev, g, a) || is_apart(ev, g, b))
        return false;
    t->out_kink = kink_at(g, a, t->out_st);
    t->back_kink = kink_at(g, b, t->back_st);
    return fmin(t->out_kink, t->back_kink) > kinks[0];
}

/* Where the pitch moves more than within 30 ms of there, and by enough; returns how many. */
static size_t find_edges(const grid *g, size_t *edges)
{
    enum { PEAK = 6 };
    size_t n = 0;
    for (size_t k = 0; k < g->n; k++) {
        double most = fabs(g->move_st[k]);
        bool peak = most >= least_move_st;
        for (size_t j = k > PEAK ? k - PEAK : 0; peak && j < g->n && j <= k + PEAK; j++)
            peak = fabs(g->move_st[j]) < most || (j >= k && fabs(g->move_st[j]) <= most);
        if (peak)
            edges[n++] = k;
    }
    return n;
}

void trips_measure(evidence *ev, size_t first, size_t last)
{
    grid g = grid_new(ev, first, last);
    size_t *edges = xmalloc(g.n, sizeof *edges), n = find_edges(&g, edges);
    for (size_t k = 0; k + 1 < n; k++) {
        trip t = {.a = edges[k], .b = edges[k + 1]};
        double s = (double)(t.b - t.a) * frame_s, never = (double)INFINITY;
        double before_s = k ? (double)(t.a - edges[k - 1]) * frame_s : never;
        double after_s = k + 2 < n ? (double)(edges[k + 2] - t.b) * frame_s : never;
        if (s >= least_trip_s && s <= longest_trip_s && fmin(before_s, after_s) > alone_s &&
            is_trip(ev, &g, &t))
            put_trip(ev, &g, &t);
    }
    free(edges);
    grid_clear(&g);
}
