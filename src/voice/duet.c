/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/duet.h"

#include "base/array.h"
#include "base/note.h"
#include "voice/cancel.h"

#include <fftw3.h>
#include <math.h>
#include <stdlib.h>

enum { HOP = CANCEL_RATE_HZ / 20 };
enum { LINES = 60, LEAST_WINDOWS = 10, LEAST_TWO = 3, LEAST_LINES = 3, PARTS = 4, A_SECOND = 14 };
static const double window_s = 0.128, steady_st = 0.5, highest_hz = 3000;
static const double least_over = 15.8, least_share = 3.2e-4, least_power = 3.2e-3;
/* Of the harmonics up to the last that is there; of the second pitch, whose are softer. */
static const double least_full = 0.75, least_full_second = 0.6;
static const double still_st = 0.6, leap_st = 1;
static const double soft_db = 20; /* under the loud parts: nothing that disturbs */
static const double lowest_f0_hz = 70, highest_f0_hz = 1200, related_slack = 0.02;

/* Windows with a steady pitch, and those of them with a second one. */
typedef struct tally {
    size_t windows, two;
} tally;

struct duet {
    double rate_hz, loud_db;
    size_t size, bins;
    tally lines[2], periods; /* lines: with voice, and without */
    bool any_voice;
    float *in, *window;
    fftwf_complex *out;
    fftwf_plan plan;
    double *power;       /* [bins] */
    double before_hz[2]; /* pitches of the window before; 0 for none */
    float *slow;         /* [CANCEL_RATE_HZ] */
    bool paired;         /* whether the window before had two periods */
};

typedef struct lines {
    double hz[LINES], power[LINES], all;
    size_t n;
} lines;

duet *duet_new(int rate_hz, double loud_db)
{
    duet *d = xcalloc(1, sizeof *d);
    d->rate_hz = rate_hz;
    d->loud_db = loud_db;
    d->size = (size_t)(window_s * d->rate_hz) / 2 * 2;
    d->bins = d->size / 2 + 1;
    d->window = xmalloc(d->size, sizeof *d->window);
    d->power = xcalloc(d->bins, sizeof *d->power);
    d->slow = xmalloc(CANCEL_RATE_HZ, sizeof *d->slow);
    d->in = fftwf_alloc_real(d->size);
    d->out = fftwf_alloc_complex(d->bins);
    d->plan = fftwf_plan_dft_r2c_1d((int)d->size, d->in, d->out, FFTW_ESTIMATE);
    for (size_t i = 0; i < d->size; i++)
        d->window[i] = (float)(0.5 - 0.5 * cos(2 * M_PI * ((double)i + 0.5) / (double)d->size));
    return d;
}

void duet_free(duet *d)
{
    if (!d)
        return;
    fftwf_destroy_plan(d->plan);
    fftwf_free(d->out);
    fftwf_free(d->in);
    free(d->slow);
    free(d->power);
    free(d->window);
    free(d);
}

/* Whether one voice moves from from_s to to_s: its pitch is followed all through and does not stay.
 * Two voices at once make it leap, or stay. */
static bool moves(const moment *m, double from_s, double to_s)
{
    if (!moment_voiced(m, from_s, to_s))
        return false;
    const track *t = m->heard;
    size_t a = m->first + (size_t)lround(from_s / t->hop_s);
    size_t n = (size_t)lround((to_s - from_s) / t->hop_s);
    double lowest = t->pitch_st[a], highest = lowest;
    for (size_t i = a + 1; i < a + n; i++) {
        if (fabs(t->pitch_st[i] - t->pitch_st[i - 1]) > leap_st)
            return false;
        lowest = fmin(lowest, t->pitch_st[i]);
        highest = fmax(highest, t->pitch_st[i]);
    }
    return highest - lowest > still_st;
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Median power of the 33 bins about bin i. */
static double surroundings(const duet *d, size_t i, size_t end)
{
    double near[33] = {0};
    size_t n = 0, a = i > 16 ? i - 16 : 0;
    for (size_t k = a; k <= i + 16 && k < end; k++)
        near[n++] = d->power[k];
    qsort(near, n, sizeof *near, by_size);
    return near[n / 2];
}

static lines find_lines(const duet *d)
{
    double bin_hz = d->rate_hz / (double)d->size, most = 0;
    size_t end = (size_t)fmin(highest_hz / bin_hz, (double)d->bins - 1);
    lines found = {.n = 0};
    for (size_t i = 2; i < end; i++)
        most = fmax(most, d->power[i]);
    for (size_t i = (size_t)(60 / bin_hz); i + 1 < end && found.n < LINES; i++) {
        double p = d->power[i];
        if (p < d->power[i - 1] || p <= d->power[i + 1] || p < least_share * most ||
            p < least_over * surroundings(d, i, end))
            continue;
        /* The top of the parabola through the logarithms. */
        double a = log(d->power[i - 1]), b = log(p), c = log(d->power[i + 1]);
        found.hz[found.n] = ((double)i + 0.5 * (a - c) / (a - 2 * b + c)) * bin_hz;
        found.power[found.n++] = p;
        found.all += p;
    }
    return found;
}

static int number_of(double hz, double f0)
{
    return (int)fmax(1, round(hz / f0));
}

static bool harmonic_of(double hz, double f0, double slack_hz)
{
    return fabs(hz - number_of(hz, f0) * f0) <= fmax(slack_hz, 0.012 * hz);
}

/* The lines that are harmonics of f0, those of `other` (0: none) left out: their number, how many
 * there were up to the last of them had all been heard, their power. */
typedef struct series {
    size_t own, due;
    double power;
} series;

static series series_of(const lines *l, double f0, double other, double slack_hz)
{
    series s = {0, 0, 0};
    int last = 0;
    for (size_t k = 0; k < l->n; k++)
        if (harmonic_of(l->hz[k], f0, slack_hz)) {
            s.own++;
            s.power += l->power[k];
            last = number_of(l->hz[k], f0);
        }
    for (int h = 1; h <= last; h++)
        s.due += !(other > 0) || !harmonic_of(h * f0, other, 2 * slack_hz);
    return s;
}

/* The pitch whose harmonics, most of them there, hold most power, more than `least`; 0 for none. It
 * is not related to `other`, where that is a pitch: a single voice whose formants lie on its second
 * and third harmonics seems to be two a fifth apart, either way. */
static double strongest_pitch(const lines *l, double other, double slack_hz, double least)
{
    double best = 0, full = other > 0 ? least_full_second : least_full;
    for (size_t i = 0; i < l->n; i++)
        for (int part = 1; part <= PARTS; part++) {
            double f0 = l->hz[i] / part;
            if (f0 < lowest_f0_hz || f0 > highest_f0_hz ||
                (other > 0 && cancel_related(other, f0, related_slack)))
                continue;
            series s = series_of(l, f0, other, slack_hz);
            if (s.own >= LEAST_LINES && (double)s.own >= full * (double)s.due && s.power > least) {
                best = f0;
                least = s.power;
            }
        }
    return best;
}

static lines without(const lines *l, double f0, double slack_hz)
{
    lines rest = {.n = 0, .all = l->all};
    for (size_t k = 0; k < l->n; k++)
        if (!harmonic_of(l->hz[k], f0, slack_hz)) {
            rest.hz[rest.n] = l->hz[k];
            rest.power[rest.n++] = l->power[k];
        }
    return rest;
}

static bool steady(double hz, double before_hz)
{
    return hz > 0 && before_hz > 0 && fabs(12 * log2(hz / before_hz)) < steady_st;
}

static void hear_window(duet *d, const float *x, tally *of)
{
    for (size_t i = 0; i < d->size; i++)
        d->in[i] = x[i] * d->window[i];
    fftwf_execute(d->plan);
    for (size_t i = 0; i < d->bins; i++) {
        double re = (double)d->out[i][0], im = (double)d->out[i][1];
        d->power[i] = re * re + im * im + 1e-30;
    }
    double bin_hz = d->rate_hz / (double)d->size, pitch[2] = {0, 0};
    lines l = find_lines(d);
    pitch[0] = strongest_pitch(&l, 0, bin_hz, 0);
    if (pitch[0] > 0) {
        lines rest = without(&l, pitch[0], 2.5 * bin_hz);
        pitch[1] = strongest_pitch(&rest, pitch[0], bin_hz, least_power * l.all);
    }
    bool same = steady(pitch[0], d->before_hz[0]), crossed = steady(pitch[0], d->before_hz[1]);
    of->windows += same || crossed;
    of->two += (same && steady(pitch[1], d->before_hz[1])) ||
               (crossed && steady(pitch[1], d->before_hz[0]));
    d->before_hz[0] = pitch[0];
    d->before_hz[1] = pitch[1];
}

static void add_lines(duet *d, const moment *m)
{
    for (size_t k = 0; k < A_SECOND; k++) {
        size_t from = k * (size_t)m->rate_hz / A_SECOND;
        if (from + d->size > m->n)
            break;
        double start_s = (double)from / d->rate_hz;
        bool silent = moment_unvoiced(m, start_s, start_s + window_s);
        d->any_voice = d->any_voice || !silent;
        if (moves(m, start_s, start_s + window_s) || (silent && d->any_voice))
            d->before_hz[0] = d->before_hz[1] = 0;
        else
            hear_window(d, m->x + from, &d->lines[silent]);
    }
}

static bool soft(const duet *d, const float *x)
{
    double power = 0;
    for (size_t i = 0; i < CANCEL_WIDTH; i++)
        power += (double)(x[i] * x[i]) / CANCEL_WIDTH;
    return 10 * log10(power) < d->loud_db - soft_db;
}

static void add_periods(duet *d, const moment *m)
{
    size_t n = cancel_sound(m->x, m->n, m->rate_hz, d->slow);
    for (size_t from = CANCEL_BEFORE; from + CANCEL_WIDTH <= n; from += HOP) {
        bool looked = !soft(d, d->slow + from), paired = looked && cancel_two(d->slow + from);
        d->periods.windows += looked;
        d->periods.two += paired && d->paired;
        d->paired = paired;
    }
}

void duet_add(duet *d, const moment *m)
{
    add_lines(d, m);
    add_periods(d, m);
}

static double share_of(const duet *d, const tally *t)
{
    if (t->windows < LEAST_WINDOWS || (!d->any_voice && t->two < LEAST_TWO))
        return (double)NAN;
    return t->two >= LEAST_TWO ? (double)t->two / (double)t->windows : 0;
}

double duet_share(const duet *d)
{
    return fmax(share_of(d, &d->lines[!d->any_voice]), share_of(d, &d->periods));
}
