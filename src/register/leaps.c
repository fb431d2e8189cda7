/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/leaps.h"

#include "base/array.h"
#include "register/trips.h"

#include <math.h>
#include <stdlib.h>

static const double frame_s = 0.005;
static const double fastest_slide = 20; /* semitones a second: what is steeper is no trend */
static const double side_s = 0.170; /* looked at on either side of a leap: a period of vibrato */

typedef struct side { /* sums over the frames on one side of a frame */
    double n, x, y, xx, xy;
} side;

typedef struct stretch { /* of voice without a break */
    size_t n;
    const double *pitch_st;
    double *time_s; /* from its first frame on */
    side *before;   /* [n + 1] sums over the frames before each, pitch from that of the first */
    double hop_s;
} stretch;

typedef struct frames { /* frames from..end - 1 */
    size_t from, end;
} frames;

/* Of the frames lo_s..hi_s after frame i; *r is what it was for the frame before. */
static side sum_side(const stretch *v, size_t i, double lo_s, double hi_s, frames *r)
{
    double x = v->time_s[i], y = v->pitch_st[i] - v->pitch_st[0];
    while (r->from < v->n && v->time_s[r->from] - x < lo_s - 1e-9)
        r->from++;
    while (r->end < v->n && v->time_s[r->end] - x <= hi_s + 1e-9)
        r->end++;
    if (r->end <= r->from)
        return (side){0, 0, 0, 0, 0};
    const side *a = &v->before[r->from], *b = &v->before[r->end];
    side s = {b->n - a->n, b->x - a->x, b->y - a->y, b->xx - a->xx, b->xy - a->xy};
    return (side){s.n, s.x - s.n * x, s.y - s.n * y, s.xx - 2 * x * s.x + s.n * x * x,
                  s.xy - x * s.y - y * s.x + s.n * x * y};
}

static void sum_up(stretch *v)
{
    v->before[0] = (side){0, 0, 0, 0, 0};
    for (size_t i = 0; i < v->n; i++) {
        const side *s = &v->before[i];
        double x = v->time_s[i], y = v->pitch_st[i] - v->pitch_st[0];
        v->before[i + 1] = (side){s->n + 1, s->x + x, s->y + y, s->xx + x * x, s->xy + x * y};
    }
}

static double slope(const side *s) /* a second */
{
    return (s->xy - s->x * s->y / s->n) / (s->xx - s->x * s->x / s->n);
}

/* Step of the pitch across a gap of 2 * gap_s, less the trend, which is the lesser slope of the
 * two sides where both go the same way; 0 when either side lacks half of its frames. */
static double leap_across(const stretch *v, size_t i, double gap_s, frames sides[2])
{
    side b = sum_side(v, i, -gap_s - side_s, -gap_s, &sides[0]);
    side a = sum_side(v, i, gap_s, gap_s + side_s, &sides[1]);
    double least = 0.5 * side_s / v->hop_s;
    if (b.n < least || a.n < least)
        return 0;
    double before = slope(&b), after = slope(&a);
    double trend = before * after <= 0 ? 0 : copysign(fmin(fabs(before), fabs(after)), before);
    trend = fmax(-fastest_slide, fmin(trend, fastest_slide));
    return a.y / a.n - b.y / b.n - trend * (a.x / a.n - b.x / b.n);
}

/* At each frame the largest of the leaps over gaps from quick to slow; a slow one counts a little
 * less. */
static void leaps_across(const stretch *v, double *raw)
{
    static const double gap_s[] = {0.010, 0.030, 0.060, 0.080}, counts[] = {1, 0.95, 0.9, 0.8};
    frames sides[4][2] = {{{0, 0}}};
    for (size_t i = 0; i < v->n; i++) {
        raw[i] = 0;
        for (int k = 0; k < 4; k++) {
            double leap = counts[k] * leap_across(v, i, gap_s[k], sides[k]);
            raw[i] = fabs(leap) > fabs(raw[i]) ? leap : raw[i];
        }
    }
}

/* Frames at which |raw| is the largest within `reach` frames. */
static size_t find_peaks(const double *raw, size_t n, size_t reach, size_t *peaks)
{
    size_t n_peaks = 0;
    for (size_t i = 0; i < n; i++) {
        bool peak = raw[i] != 0;
        for (size_t j = i > reach ? i - reach : 0; peak && j < n && j <= i + reach; j++)
            peak = fabs(raw[j]) < fabs(raw[i]) || j == i;
        if (peak)
            peaks[n_peaks++] = i;
    }
    return n_peaks;
}

/* Where the pitch moves most within 100 ms of frame `at` and the way the leap goes: the wide
 * windows tell the size of a leap, but not its place. */
static size_t steepest(const evidence *ev, size_t first, size_t n, size_t at, double leap,
                       double *move_st)
{
    enum { REACH = 20, HALF = 4 };
    size_t best = at;
    double most = 0;
    for (size_t i = at > REACH ? at - REACH : 0; i < n && i <= at + REACH; i++) {
        if (i < HALF || i + HALF >= n)
            continue;
        const double *p = ev->pitch_st + first + i;
        double move = (p[HALF] - p[-HALF]) * (leap < 0 ? -1 : 1);
        if (move > most) {
            most = move;
            best = i;
        }
    }
    *move_st = most;
    return best;
}

/* The most within 40 ms of frame `at` by which the pitch moves more in 25 ms, the way of the leap,
 * than in the 25 ms before and after on average. */
static double kink_about(const stretch *v, size_t at, double leap)
{
    enum { NEAR = 8, PART = 5, HALF = 8 };
    double most = (double)NAN;
    for (size_t i = at > NEAR + HALF ? at - NEAR : HALF; i + HALF <= v->n && i <= at + NEAR; i++) {
        const double *p = v->pitch_st + i - HALF, *t = v->time_s + i - HALF;
        if (t[3 * PART] - t[0] > (3 * PART + 0.5) * frame_s)
            continue;
        double inner = p[2 * PART] - p[PART], outer = p[3 * PART] - p[0] - inner;
        most = fmax(most, (inner - outer / 2) / leap);
    }
    return most;
}

/* Slope of the pitch of the frames from..to, semitones a second; 0 for fewer than 80 ms. */
static double slope_of(const evidence *ev, size_t from, size_t to)
{
    enum { LEAST = 16 };
    side s = {.n = (double)(to - from) + 1};
    if (to < from + LEAST)
        return 0;
    for (size_t i = from; i <= to; i++) {
        double at = (double)(i - from) * frame_s;
        s.x += at;
        s.y += ev->pitch_st[i];
        s.xx += at * at;
        s.xy += at * ev->pitch_st[i];
    }
    return slope(&s);
}

/* How fast the pitch slides the way of the leap at frame `at`, by the slower of its two sides, 80
 * to 500 ms away. */
static double slide_about(const evidence *ev, size_t first, size_t n, size_t at, double leap)
{
    enum { NEAR = 16, FAR = 100 };
    size_t last = first + n - 1;
    if (at < first + NEAR || at + NEAR > last)
        return 0;
    double before = slope_of(ev, at > first + FAR ? at - FAR : first, at - NEAR);
    double after = slope_of(ev, at + NEAR, at + FAR < last ? at + FAR : last);
    return fmax(0, leap < 0 ? -fmax(before, after) : fmin(before, after));
}

/* Leaps at their own peaks, the largest within 120 ms alone. */
static void keep_peaks(evidence *ev, const stretch *v, size_t first, const double *raw)
{
    size_t n = v->n;
    size_t *peaks = xmalloc(n, sizeof *peaks);
    size_t n_peaks = find_peaks(raw, n, 24, peaks);
    for (size_t k = 0; k < n_peaks; k++) {
        double leap = raw[peaks[k]];
        double move;
        size_t at = first + steepest(ev, first, n, peaks[k], leap, &move);
        if (fabs(leap) > fabs(ev->leap_st[at])) {
            ev->leap_st[at] = leap;
            ev->sudden[at] = move / fabs(leap);
            ev->kink[at] = kink_about(v, at - first, leap);
            ev->slide[at] = slide_about(ev, first, n, at, leap);
        }
    }
    free(peaks);
}

void leaps_measure(evidence *ev, track *const *tracks, size_t first, size_t last)
{
    stretch v = {.n = last - first + 1,
                 .pitch_st = ev->pitch_st + first,
                 .hop_s = tracks[ev->take[first]]->hop_s};
    double *raw = xmalloc(v.n, sizeof *raw);
    v.time_s = xmalloc(v.n, sizeof *v.time_s);
    v.before = xmalloc(v.n + 1, sizeof *v.before);
    double begin_s = evidence_time(ev, tracks, first);
    for (size_t i = 0; i < v.n; i++)
        v.time_s[i] = evidence_time(ev, tracks, first + i) - begin_s;
    sum_up(&v);
    leaps_across(&v, raw);
    keep_peaks(ev, &v, first, raw);
    trips_measure(ev, first, last);
    free(v.before);
    free(v.time_s);
    free(raw);
}
