/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/evidence.h"

#include "base/array.h"
#include "base/lanes_math.h"
#include "base/note.h"
#include "register/breaks.h"
#include "register/leaps.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics.h>
#include <assert.h>
#include <math.h>
#include <stdlib.h>

/* A crack leaves a short hole in the voice; a longer one is a breath or a consonant. */
static const double frame_s = 0.005;
static const double bridged_s = 0.15;
static const double fastest_swell =
    50; /* dB a second: what rises or falls faster is on- or offset */
static const float weakest_snr_db = 3; /* harmonics nearer to the noise say nothing */
static const double least_sd_db = 0.3; /* window and interpolation leave this much at any SNR */

double evidence_warp(double hz)
{
    return log2(1 + hz / 300);
}

/* Voice whose harmonics are heard, or its contact: where lips or tongue trill, nothing is told. */
static bool tells(const track *t, size_t f)
{
    return !isnan(t->pitch_st[f]) && (t->egg || track_sounds(t, f));
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

enum { WHOLE = 64 }; /* bytes */
/* The next of the arrays that lie in one block: n of so many bytes, for lanes by whole ones. */
static void *lay(char **block, size_t n, size_t size)
{
    void *at = *block;
    *block += (n * size + WHOLE - 1) / WHOLE * WHOLE;
    return at;
}

enum { ARRAYS = 22 };
static const size_t frame_bytes = 3 * sizeof(size_t) + 14 * sizeof(double) +
                                  3 * sizeof(float[HARMONICS]) + sizeof(declared_register) + 1;

evidence *evidence_alloc(size_t n)
{
    evidence *ev = xcalloc(1, sizeof *ev);
    size_t size = n * frame_bytes + ARRAYS * WHOLE;
    char *block = xcalloc(size, 1);
    *ev = (evidence){.n = n, .hop_s = frame_s, .block = block};
    size_t **indices[] = {&ev->take, &ev->frame, &ev->before};
    double **numbers[] = {&ev->gap_s,       &ev->edge_s,     &ev->pitch_st, &ev->hz,
                          &ev->level_db,    &ev->leap_st,    &ev->sudden,   &ev->kink,
                          &ev->trip,        &ev->slide,      &ev->dip_db,   &ev->step_db,
                          &ev->pitch_break, &ev->level_break};
    ev->y_db = lay(&block, n, sizeof *ev->y_db);
    ev->var = lay(&block, n, sizeof *ev->var);
    ev->warp = lay(&block, n, sizeof *ev->warp);
    for (size_t k = 0; k < sizeof indices / sizeof *indices; k++)
        *indices[k] = lay(&block, n, sizeof **indices[k]);
    for (size_t k = 0; k < sizeof numbers / sizeof *numbers; k++)
        *numbers[k] = lay(&block, n, sizeof **numbers[k]);
    ev->declared = lay(&block, n, sizeof *ev->declared);
    ev->stated = lay(&block, n, sizeof *ev->stated);
    assert(block <= (char *)ev->block + size);
    return ev;
}

/* Harmonics of frame f, at hz. Noise power is taken off; with signal to noise q the level's error
 * is about 8.69 / sqrt(2 q) dB. */
EACH_PART void read_all(evidence *ev, size_t i, const track *t, size_t f)
{
    float hz = (float)ev->hz[i];
    const lanes first = {1, 2, 3, 4, 5, 6, 7, 8};
    for (int h = 0; h < HARMONICS; h += LANES) {
        lanes level = lanes_load(t->harmonic_db + f * HARMONICS + h);
        lanes snr = level - lanes_load(t->noise_db + f * HARMONICS + h);
        lane_bits there = (snr >= weakest_snr_db) & (snr < INFINITY);
        lanes q = lanes_exp_of(lanes_where(there, snr) * (float)(0.1 * M_LN10)) - 1;
        lanes less = level + 10 * (float)(M_LN2 / M_LN10) * lanes_log2_of(q / (q + 1));
        lanes var = (float)(least_sd_db * least_sd_db) + (float)(8.686 * 8.686 / 2) / q;
        lanes_store(ev->y_db[i] + h, (lanes)((lane_bits)less | ~there));
        lanes_store(ev->var[i] + h, (lanes)((lane_bits)var | ~there));
        lanes_store(ev->warp[i] + h, lanes_log2_of(1 + ((float)h + first) * (hz / 300)));
    }
}

EACH_PROCESSOR static void read_harmonics(evidence *ev, size_t i, const track *t, size_t f)
{
    read_all(ev, i, t, f);
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
            read_harmonics(ev, i, t, f);
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

typedef struct sung { /* of a stretch: how many frames before each are sung, and their levels */
    size_t n;
    double *before, *level_db; /* [n + 1] */
} sung;

static sung sung_of(const evidence *ev, size_t first, size_t last)
{
    size_t n = last - first + 1;
    sung s = {n, xcalloc(n + 1, sizeof *s.before), xcalloc(n + 1, sizeof *s.level_db)};
    for (size_t i = 0; i < n; i++) {
        bool is = ev->edge_s[first + i] >= 0;
        s.before[i + 1] = s.before[i] + is;
        s.level_db[i + 1] = s.level_db[i] + (is ? ev->level_db[first + i] : 0);
    }
    return s;
}

/* Mean level of the frames i + from .. i + to that are sung; NaN where a third of them is not. */
static double mean_level(const sung *s, size_t i, long from, long to)
{
    long n = (long)s->n, lo = (long)i + from, hi = (long)i + to + 1;
    lo = lo < 0 ? 0 : lo > n ? n : lo;
    hi = hi < 0 ? 0 : hi > n ? n : hi;
    double count = s->before[hi] - s->before[lo];
    return count > 0.67 * (double)(to - from + 1) ? (s->level_db[hi] - s->level_db[lo]) / count
                                                  : (double)NAN;
}

/* What the level does about a frame: frames of 5 ms. */
static void measure_levels(evidence *ev, size_t first, size_t last)
{
    sung s = sung_of(ev, first, last);
    for (size_t i = 0; i < s.n; i++) {
        ev->dip_db[first + i] = 0.5 * (mean_level(&s, i, -36, -17) + mean_level(&s, i, 16, 35)) -
                                mean_level(&s, i, -6, 6);
        ev->step_db[first + i] = mean_level(&s, i, 12, 31) - mean_level(&s, i, -32, -13);
    }
    free(s.before);
    free(s.level_db);
}

static void pair_stretch(evidence *ev, track *const *tracks, size_t first, size_t last)
{
    for (size_t i = first, j = first; i <= last; i++) {
        double then = evidence_time(ev, tracks, i) - EVIDENCE_LAG_S;
        while (j < i && evidence_time(ev, tracks, j) < then - 1e-6)
            j++;
        ev->before[i] =
            j < i && fabs(evidence_time(ev, tracks, j) - then) < 0.0051 ? j : EVIDENCE_NONE;
    }
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
    double start = evidence_time(ev, tracks, from), end = evidence_time(ev, tracks, to);
    for (size_t i = first; i <= last; i++) {
        double at = evidence_time(ev, tracks, i);
        ev->edge_s[i] = fmin(at - start, end - at);
    }
    measure_levels(ev, first, last);
    leaps_measure(ev, tracks, first, last);
    breaks_measure(ev, first, last);
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

EACH_PART void find_range(const evidence *ev, double *lo, double *hi)
{
    lanes greatest = {0};
    float least = INFINITY;
    for (size_t i = 0; i < ev->n; i++) {
        least = ev->warp[i][0] < least ? ev->warp[i][0] : least;
        for (int h = 0; h < HARMONICS; h += LANES) {
            lanes at = lanes_load(ev->warp[i] + h);
            at = lanes_where(lanes_load(ev->var[i] + h) < INFINITY, at);
            greatest = lanes_choose(at > greatest, at, greatest);
        }
    }
    *lo = (double)least;
    *hi = 0;
    for (int k = 0; k < LANES; k++)
        *hi = fmax(*hi, (double)greatest[k]);
}

EACH_PROCESSOR static void range_of(const evidence *ev, double *lo, double *hi)
{
    find_range(ev, lo, hi);
}

void evidence_range(const evidence *ev, double *lo, double *hi)
{
    range_of(ev, lo, hi);
}

double *evidence_times(const evidence *ev, track *const *tracks)
{
    double *time_s = xmalloc(ev->n, sizeof *time_s);
    for (size_t i = 0; i < ev->n; i++)
        time_s[i] = evidence_time(ev, tracks, i);
    return time_s;
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
    free(ev->block);
    free(ev);
}
