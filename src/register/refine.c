/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/refine.h"

#include "base/array.h"
#include "base/lanes.h"
#include "register/breaks.h"

#include <math.h>
#include <stdlib.h>

/* 10-90 % times tried, seconds, half an octave apart, and the spread of the 30 ms Hann window of
 * the harmonics, as a 10-90 % time. */
static const double widths_s[] = {0.006, 0.009, 0.013, 0.019, 0.027, 0.039,
                                  0.056, 0.080, 0.113, 0.160, 0.226, 0.320};
enum { WIDTHS = sizeof widths_s / sizeof *widths_s, PLACES = 121, MIDDLE = PLACES / 2 };
static const double harmonics_s = 0.018;
static const double leap_within_s = 0.080, reach_s = 0.200, short_stay_s = 0.25;
static const double least_leap_st = 1; /* less may be vibrato */
/* What the coordinates scatter by at the least, and the share that each frame counts for, because
 * neighbours agree. */
static const double coordinate_sd = 0.5, coordinate_counts = 0.1;
/* Before anything is looked at: the chain is right within 40 ms, the coordinate steps by one
 * register, give or take what drifts; a leap takes 35 ms, a change without one 150 ms, with
 * standard deviations as factors of e and of the root of e. */
static const double place_sd_s = 0.040, height_sd = 0.4;
static const double leap_width_s = 0.035, leap_width_sd = 1;
static const double closed_db = 10, shut_s = 0.15; /* of a mouth that shuts */
static const double out_of_reach = 60;             /* of minus twice a log: a weight of 1e-13 */
static const double smooth_width_s = 0.150, smooth_width_sd = 0.5;

static double squared(double x)
{
    return x * x;
}

static const double frame_s = 0.005;

/* What level, trend and ramp are fitted to: the coordinates of frames a grid of frame_s holds; the
 * ramp's height is known to be near `height`. */
enum { ON = 3 };
typedef struct points {
    size_t n;
    double first_s; /* the first place of the grid, from the middle */
    /* [n + LANES] weights of the frames, 0 where there is none, and those times seconds from the
       middle, and times the coordinate */
    float *w, *wx, *wy;
    double (*on)[ON];                 /* [n + 1] sums of these from each place on */
    double a00, a01, a11, b0, b1, yy; /* sums that are the same for every ramp */
    double height, height_sd;
} points;

static void points_add(points *p, double x, double y, double w)
{
    size_t at = (size_t)((x - p->first_s) / frame_s + 0.5);
    p->w[at] = (float)w;
    p->wx[at] = (float)(w * x);
    p->wy[at] = (float)(w * y);
    p->a00 += w;
    p->a01 += w * x;
    p->a11 += w * x * x;
    p->b0 += w * y;
    p->b1 += w * x * y;
    p->yy += w * y * y;
}

static void points_clear(points *p)
{
    free(p->w);
    free(p->wx);
    free(p->wy);
    free(p->on);
}

/* After the last of them. */
static void points_end(points *p)
{
    for (size_t i = p->n; i-- > 0;) {
        p->on[i][0] = p->on[i + 1][0] + (double)p->w[i];
        p->on[i][1] = p->on[i + 1][1] + (double)p->wx[i];
        p->on[i][2] = p->on[i + 1][2] + (double)p->wy[i];
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

/* A ramp about a place, at the points of the grid from `reach` before it to as far behind it. */
enum { REACH = 131, SPAN = 2 * REACH + 1 };
typedef struct shape {
    long reach;
    float at[SPAN + LANES], square[SPAN + LANES];
} shape;

/* The point in the middle lies off_s after the place. */
static void shape_fill(shape *s, const ramp *r, double width_s, double off_s)
{
    double over = 1 / width_s;
    s->reach = (long)fmin(RAMP_REACH * width_s / frame_s + 1.5, REACH);
    for (long k = -s->reach; k <= s->reach; k++) {
        double phi = ramp_at(r, ((double)k * frame_s + off_s) * over);
        s->at[k + s->reach] = (float)phi;
        s->square[k + s->reach] = (float)(phi * phi);
    }
}

/* Sums over n points of the grid, from lo on: of the weights by the ramp, of what they multiply,
 * and of the weights by its square. */
EACH_PART void add_up_all(const points *p, const shape *s, size_t lo, size_t from, size_t n,
                          double out[ON + 1])
{
    lanes sum[ON + 1] = {{0}};
    for (size_t i = 0; i < n; i += LANES) {
        lanes is = lanes_load(p->w + lo + i), phi = lanes_load(s->at + from + i);
        sum[0] += is * phi;
        sum[1] += lanes_load(p->wx + lo + i) * phi;
        sum[2] += lanes_load(p->wy + lo + i) * phi;
        sum[3] += is * lanes_load(s->square + from + i);
    }
    for (int k = 0; k <= ON; k++)
        out[k] = (double)lanes_sum(sum[k])[0];
}

EACH_PROCESSOR static void add_up(const points *p, const shape *s, size_t lo, size_t from, size_t n,
                                  double out[ON + 1])
{
    add_up_all(p, s, lo, from, n, out);
}

/* What a ramp about point `mid` of the grid leaves. */
static double misfit(const points *p, const shape *s, long mid)
{
    double known = 1 / squared(p->height_sd), sum[ON + 1] = {0};
    long lo = mid - s->reach > 0 ? mid - s->reach : 0, n = (long)p->n;
    long end = mid + s->reach + 1 < 0 ? 0 : mid + s->reach + 1 < n ? mid + s->reach + 1 : n;
    if (end > lo)
        add_up(p, s, (size_t)lo, (size_t)(lo - mid + s->reach), (size_t)(end - lo), sum);
    const double *on = p->on[end];
    double a02 = sum[0] + on[0], a12 = sum[1] + on[1], b2 = known * p->height + sum[2] + on[2];
    double a[3][4] = {{p->a00, p->a01, a02, p->b0},
                      {p->a01, p->a11, a12, p->b1},
                      {a02, a12, known + sum[3] + on[0], b2}};
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

/* From frame i up or down to the last that is within reach, or that the voice goes on to: where it
 * falls by so much and rises again the mouth was shut for a consonant, behind which levels and
 * pitches step without a flip. */
static size_t end_of_reach(const evidence *ev, const double *time_s, size_t i, size_t last,
                           double about)
{
    const double *db = ev->level_db;
    double loudest = db[i], softest = 0;
    size_t open = i, end = i; /* the last frame before it fell, and within reach */
    bool shut = false;
    while (i != last) {
        size_t next = i < last ? i + 1 : i - 1;
        double off_s = fabs(time_s[next] - about);
        if (off_s > reach_s + (shut ? shut_s : 0))
            break;
        bool falls = db[next] < loudest - closed_db;
        if (falls && !shut)
            open = i;
        softest = shut ? fmin(softest, db[next]) : db[next];
        shut = shut || falls;
        i = next;
        if (shut && db[i] > softest + closed_db)
            return open;
        loudest = fmax(loudest, db[i]);
        end = off_s > reach_s ? end : i;
    }
    return end;
}

static void window_bound(window *w, const evidence *ev, const double *time_s, size_t first,
                         size_t last, double about)
{
    w->lo = end_of_reach(ev, time_s, w->lo, first, about);
    w->hi = end_of_reach(ev, time_s, w->hi, last, about);
    w->lo_s = time_s[w->lo] - about;
    w->hi_s = time_s[w->hi] - about;
    for (size_t i = w->lo; i <= w->hi; i++)
        if (fabs(ev->leap_st[i]) > fabs(w->leap_st) && fabs(time_s[i] - about) <= leap_within_s)
            w->leap_st = ev->leap_st[i];
}

static points coordinates_of(const window *w, const double *time_s, const saying *says,
                             double about, bool up)
{
    size_t n = (size_t)((w->hi_s - w->lo_s) / frame_s + 1.5), room = n + LANES;
    points p = {.n = n,
                .first_s = w->lo_s,
                .w = xcalloc(room, sizeof *p.w),
                .wx = xcalloc(room, sizeof *p.wx),
                .wy = xcalloc(room, sizeof *p.wy),
                .on = xcalloc(n + 1, sizeof *p.on),
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

/* Minus twice the log of the weight that a width has beforehand. */
static double prior(const window *w, double width_s)
{
    bool leaps = fabs(w->leap_st) > least_leap_st;
    double usual = leaps ? leap_width_s : smooth_width_s;
    return squared(log(width_s / usual) / (leaps ? leap_width_sd : smooth_width_sd));
}

/* left[PLACES]: minus twice the log of what speaks for a change of width k at each place; infinite
 * beyond the ends of the voice, and where it is so far above `least` that it counts for nothing.
 * Returns the least of all. */
static double try_width(const window *w, int k, double least, double left[PLACES])
{
    double by_pitch[PLACES], by_level[PLACES], width_s = widths_s[k], usual = prior(w, width_s);
    shape s = {.square = {0}};
    motion_says(&w->pitch, BREAKS_OF_PITCH, &w->phi, width_s, place_of(0), PLACES, by_pitch);
    motion_says(&w->level, BREAKS_OF_LEVEL, &w->phi, width_s, place_of(0), PLACES, by_level);
    for (int phase = 0; phase < MOTION_PERIOD; phase++) {
        double at = (place_of(phase) - w->coordinate.first_s) / frame_s;
        long mid = (long)floor(at + 0.5);
        shape_fill(&s, &w->phi, hypot(width_s, harmonics_s), ((double)mid - at) * frame_s);
        for (int j = phase; j < PLACES; j += MOTION_PERIOD, mid += 2) {
            double tau = place_of(j);
            left[j] = usual + squared(tau / place_sd_s) - 2 * by_pitch[j] - 2 * by_level[j];
            if (tau < w->lo_s + 0.005 || tau > w->hi_s - 0.005 || left[j] > least + out_of_reach)
                left[j] = (double)INFINITY;
            else
                left[j] += misfit(&w->coordinate, &s, mid);
            least = fmin(least, left[j]);
        }
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
    points_clear(&w.coordinate);
    motion_clear(&w.pitch);
    motion_clear(&w.level);
    return r;
}

/* Where the stay before or after frame `at` is short, half of it: the other change is near. */
static size_t part_of(const evidence *ev, size_t frames)
{
    return frames < evidence_frames(ev, short_stay_s) ? frames / 2 : frames;
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
        size_t first = t->at - part_of(ev, t->at - t->first);
        size_t last = t->at + part_of(ev, t->last - t->at);
        places[k] = refine_flip(ev, time_s, says, first, last, t->at, t->up);
        for (t->at = t->first + 1; t->at < t->last && time_s[t->at] < places[k].time_s;)
            t->at++;
    }
    return placed;
}
