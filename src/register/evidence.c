/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/evidence.h"

#include "base/array.h"
#include "base/note.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics.h>
#include <math.h>
#include <stdlib.h>

/* A crack leaves a short hole in the voice; a longer one is a breath or a consonant. */
static const double frame_s = 0.005;
static const double bridged_s = 0.15;
static const double fastest_slide = 20; /* semitones a second: what is steeper is no trend */
static const double side_s = 0.170; /* looked at on either side of a leap: a period of vibrato */
static const double fastest_swell =
    50; /* dB a second: what rises or falls faster is on- or offset */
static const double weakest_snr_db = 3; /* harmonics nearer to the noise say nothing */
static const double least_sd_db = 0.3;  /* window and interpolation leave this much at any SNR */

double evidence_warp(double hz)
{
    return log2(1 + hz / 300);
}

/* Voice whose harmonics are heard, or its contact: where lips or tongue trill, nothing is told. */
static bool tells(const track *t, size_t f)
{
    return !isnan(t->pitch_st[f]) && (t->egg || track_flags(t, f) & TRACK_HAS_HARMONICS);
}

static size_t count_voiced(track *const *tracks, size_t n_tracks)
{
    size_t n = 0;
    for (size_t k = 0; k < n_tracks; k++)
        for (size_t f = 0; f < tracks[k]->n; f++)
            if (tells(tracks[k], f))
                n++;
    return n;
}

evidence *evidence_alloc(size_t n)
{
    evidence *ev = xcalloc(1, sizeof *ev);
    *ev = (evidence){.n = n,
                     .hop_s = frame_s,
                     .take = xmalloc(n, sizeof *ev->take),
                     .frame = xmalloc(n, sizeof *ev->frame),
                     .gap_s = xmalloc(n, sizeof *ev->gap_s),
                     .before = xmalloc(n, sizeof *ev->before),
                     .edge_s = xmalloc(n, sizeof *ev->edge_s),
                     .pitch_st = xmalloc(n, sizeof *ev->pitch_st),
                     .hz = xmalloc(n, sizeof *ev->hz),
                     .level_db = xmalloc(n, sizeof *ev->level_db),
                     .y_db = xmalloc(n, sizeof *ev->y_db),
                     .var = xmalloc(n, sizeof *ev->var),
                     .warp = xmalloc(n, sizeof *ev->warp),
                     .leap_st = xcalloc(n, sizeof *ev->leap_st),
                     .sudden = xcalloc(n, sizeof *ev->sudden),
                     .slide = xcalloc(n, sizeof *ev->slide),
                     .dip_db = xmalloc(n, sizeof *ev->dip_db),
                     .step_db = xmalloc(n, sizeof *ev->step_db),
                     .declared = xmalloc(n, sizeof *ev->declared),
                     .stated = xmalloc(n, sizeof *ev->stated)};
    return ev;
}

/* Noise power is taken off; with signal to noise q the level's error is about 8.69 / sqrt(2 q) dB.
 */
static void weigh_harmonics(const track *t, size_t f, double y[HARMONICS], double var[HARMONICS])
{
    for (int h = 0; h < HARMONICS; h++) {
        double level = (double)t->harmonic_db[f * HARMONICS + (size_t)h];
        double noise = (double)t->noise_db[f * HARMONICS + (size_t)h];
        y[h] = var[h] = (double)NAN;
        if (!isfinite(level) || level - noise < weakest_snr_db)
            continue;
        double q = pow(10, (level - noise) / 10) - 1;
        y[h] = level + 10 * log10(q / (q + 1));
        var[h] = least_sd_db * least_sd_db + 8.686 * 8.686 / (2 * q);
    }
}

static declared_register declared_at(const track *t, size_t f)
{
    unsigned char stated = t->stated ? t->stated[f] : 0;
    return stated & STATED_M1 ? DECLARED_M1 : stated & STATED_M2 ? DECLARED_M2 : t->declared;
}

static void gather(evidence *ev, track *const *tracks, size_t n_tracks)
{
    size_t i = 0;
    for (size_t k = 0; k < n_tracks; k++) {
        const track *t = tracks[k];
        double last_s = -(double)INFINITY;
        for (size_t f = 0; f < t->n; f++) {
            if (!tells(t, f))
                continue;
            ev->take[i] = k;
            ev->frame[i] = f;
            double gap = t->time_s[f] - last_s;
            ev->gap_s[i] = gap > bridged_s ? (double)INFINITY : gap;
            last_s = t->time_s[f];
            ev->pitch_st[i] = t->pitch_st[f];
            ev->hz[i] = note_to_hz(t->pitch_st[f]);
            ev->level_db[i] = t->level_db[f];
            ev->stated[i] = t->stated ? t->stated[f] : 0;
            ev->declared[i] = declared_at(t, f);
            weigh_harmonics(t, f, ev->y_db[i], ev->var[i]);
            for (int h = 0; h < HARMONICS; h++)
                ev->warp[i][h] = (float)evidence_warp((h + 1) * ev->hz[i]);
            i++;
        }
    }
}

static void centre_levels(evidence *ev)
{
    double sum = 0;
    for (size_t i = 0; i < ev->n; i++)
        sum += ev->level_db[i];
    for (size_t i = 0; i < ev->n; i++)
        ev->level_db[i] -= sum / (double)ev->n;
}

static double time_of(const evidence *ev, track *const *tracks, size_t i)
{
    return tracks[ev->take[i]]->time_s[ev->frame[i]];
}

typedef struct side { /* sums over the frames on one side of a frame */
    double n, x, y, xx, xy;
} side;

static side sum_side(const evidence *ev, track *const *tracks, size_t lo_i, size_t hi_i, size_t now,
                     double lo_s, double hi_s)
{
    side s = {0, 0, 0, 0, 0};
    double at = time_of(ev, tracks, now);
    for (size_t i = lo_i; i <= hi_i; i++) {
        double x = time_of(ev, tracks, i) - at, y = ev->pitch_st[i] - ev->pitch_st[now];
        if (x < lo_s - 1e-9 || x > hi_s + 1e-9)
            continue;
        s.n++;
        s.x += x;
        s.y += y;
        s.xx += x * x;
        s.xy += x * y;
    }
    return s;
}

/* Step of the pitch across a gap of 2 * gap_s, less the trend, which is the lesser slope of the
 * two sides where both go the same way; 0 when either side lacks half of its frames. */
static double leap_across(const evidence *ev, track *const *tracks, size_t lo, size_t hi, size_t i,
                          double gap_s)
{
    side b = sum_side(ev, tracks, lo, hi, i, -gap_s - side_s, -gap_s);
    side a = sum_side(ev, tracks, lo, hi, i, gap_s, gap_s + side_s);
    double least = 0.5 * side_s / tracks[ev->take[i]]->hop_s;
    if (b.n < least || a.n < least)
        return 0;
    double before = (b.xy - b.x * b.y / b.n) / (b.xx - b.x * b.x / b.n);
    double after = (a.xy - a.x * a.y / a.n) / (a.xx - a.x * a.x / a.n);
    double trend = before * after <= 0 ? 0 : copysign(fmin(fabs(before), fabs(after)), before);
    trend = fmax(-fastest_slide, fmin(trend, fastest_slide));
    return a.y / a.n - b.y / b.n - trend * (a.x / a.n - b.x / b.n);
}

/* The largest of the leaps over gaps from quick to slow; a slow one counts a little less. */
static double leap_at(const evidence *ev, track *const *tracks, size_t lo, size_t hi, size_t i)
{
    static const double gap_s[] = {0.010, 0.030, 0.060, 0.080}, counts[] = {1, 0.95, 0.9, 0.8};
    double best = 0;
    for (int k = 0; k < 4; k++) {
        double leap = counts[k] * leap_across(ev, tracks, lo, hi, i, gap_s[k]);
        best = fabs(leap) > fabs(best) ? leap : best;
    }
    return best;
}

/* Mean level of the frames now + from .. now + to of a stretch that are sung; NaN where a third of
 * them is not. */
static double mean_level(const evidence *ev, size_t first, size_t last, size_t now, long from,
                         long to)
{
    double n = 0, sum = 0;
    for (long k = from; k <= to; k++) {
        long i = (long)now + k;
        if (i >= (long)first && i <= (long)last && ev->edge_s[i] >= 0) {
            n++;
            sum += ev->level_db[i];
        }
    }
    return n > 0.67 * (double)(to - from + 1) ? sum / n : (double)NAN;
}

/* What the level does about a frame: frames of 5 ms. */
static void measure_levels(evidence *ev, size_t first, size_t last)
{
    for (size_t i = first; i <= last; i++) {
        ev->dip_db[i] = 0.5 * (mean_level(ev, first, last, i, -36, -17) +
                               mean_level(ev, first, last, i, 16, 35)) -
                        mean_level(ev, first, last, i, -6, 6);
        ev->step_db[i] =
            mean_level(ev, first, last, i, 12, 31) - mean_level(ev, first, last, i, -32, -13);
    }
}

static void pair_stretch(evidence *ev, track *const *tracks, size_t first, size_t last)
{
    for (size_t i = first, j = first; i <= last; i++) {
        double then = time_of(ev, tracks, i) - EVIDENCE_LAG_S;
        while (j < i && time_of(ev, tracks, j) < then - 1e-6)
            j++;
        ev->before[i] = j < i && fabs(time_of(ev, tracks, j) - then) < 0.0051 ? j : EVIDENCE_NONE;
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

/* Slope of the pitch of the frames from..to, semitones a second; 0 for fewer than 80 ms. */
static double slope_of(const evidence *ev, size_t from, size_t to)
{
    enum { LEAST = 16 };
    double n = (double)(to - from) + 1, x = 0, y = 0, xx = 0, xy = 0;
    if (to < from + LEAST)
        return 0;
    for (size_t i = from; i <= to; i++) {
        double at = (double)(i - from) * frame_s;
        x += at;
        y += ev->pitch_st[i];
        xx += at * at;
        xy += at * ev->pitch_st[i];
    }
    return (xy - x * y / n) / (xx - x * x / n);
}

/* How fast the pitch slides the way of the leap at frame `at`, by the slower of its two sides, 80 to
 * 500 ms away. */
static double slide_about(const evidence *ev, size_t first, size_t n, size_t at, double leap)
{
    enum { NEAR = 16, FAR = 100 };
    size_t last = first + n - 1, way = leap < 0;
    if (at < first + NEAR || at + NEAR > last)
        return 0;
    double before = slope_of(ev, at > first + FAR ? at - FAR : first, at - NEAR);
    double after = slope_of(ev, at + NEAR, at + FAR < last ? at + FAR : last);
    return fmax(0, way ? -fmax(before, after) : fmin(before, after));
}

/* Leaps at their own peaks, the largest within 120 ms alone. */
static void keep_peaks(evidence *ev, size_t first, size_t n, const double *raw)
{
    size_t *peaks = xmalloc(n, sizeof *peaks);
    size_t n_peaks = find_peaks(raw, n, 24, peaks);
    for (size_t k = 0; k < n_peaks; k++) {
        double leap = raw[peaks[k]];
        double move;
        size_t at = first + steepest(ev, first, n, peaks[k], leap, &move);
        if (fabs(leap) > fabs(ev->leap_st[at])) {
            ev->leap_st[at] = leap;
            ev->sudden[at] = move / fabs(leap);
            ev->slide[at] = slide_about(ev, first, n, at, leap);
        }
    }
    free(peaks);
}

/* Where the voice has come up and where it starts to go: the ends of a stretch, moved inward past
 * the frames in which the level rises or falls faster than any swell. The tail that a room leaves
 * falls so, too. */
static void sung_part(const evidence *ev, size_t first, size_t last, size_t *from, size_t *to)
{
    enum { STEP = 8 }; /* 40 ms */
    *from = first;
    *to = last;
    while (*from + STEP < last &&
           ev->level_db[*from + STEP] - ev->level_db[*from] > fastest_swell * STEP * 0.005)
        ++*from;
    while (*to > first + STEP && *to > *from &&
           ev->level_db[*to - STEP] - ev->level_db[*to] > fastest_swell * STEP * 0.005)
        --*to;
}

/* Leaps and levels of the frames first..last, one stretch of voice. */
static void measure_stretch(evidence *ev, track *const *tracks, size_t first, size_t last)
{
    size_t from, to;
    sung_part(ev, first, last, &from, &to);
    double start = time_of(ev, tracks, from), end = time_of(ev, tracks, to);
    enum { REACH = 52 };
    double *raw = xcalloc(last - first + 1, sizeof *raw);
    for (size_t i = first; i <= last; i++) {
        double at = time_of(ev, tracks, i);
        size_t lo = i - first > REACH ? i - REACH : first, hi = i + REACH < last ? i + REACH : last;
        ev->edge_s[i] = fmin(at - start, end - at);
        raw[i - first] = leap_at(ev, tracks, lo, hi, i);
    }
    measure_levels(ev, first, last);
    keep_peaks(ev, first, last - first + 1, raw);
    free(raw);
}

evidence *evidence_new(track *const *tracks, size_t n_tracks)
{
    evidence *ev = evidence_alloc(count_voiced(tracks, n_tracks));
    gather(ev, tracks, n_tracks);
    if (ev->n)
        centre_levels(ev);
    for (size_t first = 0, i = 0; i < ev->n; i++)
        if (i + 1 == ev->n || isinf(ev->gap_s[i + 1])) {
            pair_stretch(ev, tracks, first, i);
            measure_stretch(ev, tracks, first, i);
            first = i + 1;
        }
    return ev;
}

double evidence_told_s(const evidence *ev)
{
    double m1 = 0, m2 = 0;
    for (size_t i = 0; i < ev->n; i++) {
        m1 += ev->declared[i] == DECLARED_M1;
        m2 += ev->declared[i] == DECLARED_M2;
    }
    return fmin(m1, m2) * ev->hop_s;
}

void evidence_free(evidence *ev)
{
    if (!ev)
        return;
    free(ev->take);
    free(ev->frame);
    free(ev->gap_s);
    free(ev->before);
    free(ev->edge_s);
    free(ev->pitch_st);
    free(ev->hz);
    free(ev->level_db);
    free(ev->y_db);
    free(ev->var);
    free(ev->warp);
    free(ev->leap_st);
    free(ev->sudden);
    free(ev->slide);
    free(ev->dip_db);
    free(ev->step_db);
    free(ev->declared);
    free(ev->stated);
    free(ev);
}
