/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/channels.h"

#include "base/array.h"
#include "sound/look.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

static const int plain_rate_hz = 16000; /* faster sound is averaged down to about this */
static const double sung_at = 0.85;
static const double active_db = 30; /* looks this far under a channel's loudest are pauses */
static const double egg_bumps_db = 5, egg_less_db = 1.5, egg_looks = 0.25;
static const double egg_first = 0.8;    /* of the looks, the first harmonic is the strongest */
static const double egg_steepest = -18; /* dB an octave */
/* Of the second harmonic re the first: the EGG's moves less than the microphone's, and not with it;
 * in so many looks, and where the EGG's correlation at the note is at least: */
static const double company_moves_db = 4, company_less = 0.75, company_slope = 0.25;
static const double company_alike = 0.5, company_looks = 8, company_with = 0.4;
static const double sung_more = 0.3, heard_db = 40;

struct channels {
    int n, step;          /* step: samples that are averaged into one */
    double *sum, *square; /* [n] over all samples heard */
    double samples;
    double *now;      /* [n][frame] the look's first averaged samples */
    double *averaged; /* [n] what has come of the next */
    size_t filled, in_step, heard;
    double *acf, *spectrum; /* [n][fft] of the look */
    look *looks;            /* [n_looks][n] */
    size_t n_looks;
    looker looker;
};

channels *channels_new(int rate_hz, int n)
{
    assert(rate_hz >= 8000 && n >= 1);
    channels *c = xcalloc(1, sizeof *c);
    c->n = n;
    c->step = rate_hz > plain_rate_hz ? rate_hz / plain_rate_hz : 1;
    c->looker = looker_new((double)rate_hz / c->step);
    size_t frame = c->looker.frame, fft = c->looker.fft;
    c->sum = array_filled((size_t)n, 0);
    c->square = array_filled((size_t)n, 0);
    c->averaged = array_filled((size_t)n, 0);
    c->now = xcalloc((size_t)n * frame, sizeof *c->now);
    c->acf = xcalloc((size_t)n * fft, sizeof *c->acf);
    c->spectrum = xcalloc((size_t)n * fft, sizeof *c->spectrum);
    c->looks = xcalloc((size_t)n * CHANNELS_LOOKS, sizeof *c->looks);
    return c;
}

void channels_free(channels *c)
{
    if (!c)
        return;
    free(c->sum);
    free(c->square);
    free(c->averaged);
    free(c->now);
    free(c->acf);
    free(c->spectrum);
    free(c->looks);
    free(c);
}

void channels_hear(channels *c, const float *frames, size_t n)
{
    size_t all = (size_t)c->n;
    for (size_t i = 0; i < n; i++) {
        bool whole = ++c->in_step == (size_t)c->step;
        for (size_t k = 0; k < all; k++) {
            float f = frames[i * all + k];
            double x = isfinite(f) ? (double)f : 0;
            c->sum[k] += x;
            c->square[k] += x * x;
            c->averaged[k] += x / c->step;
            if (!whole)
                continue;
            if (c->filled < c->looker.frame)
                c->now[k * c->looker.frame + c->filled] = c->averaged[k];
            c->averaged[k] = 0;
        }
        if (whole) {
            c->in_step = 0;
            c->filled += c->filled < c->looker.frame;
        }
    }
    c->samples += (double)n;
    c->heard += n;
}

void channels_end_look(channels *c)
{
    assert(c->n_looks < CHANNELS_LOOKS || !c->heard);
    if (c->heard) {
        size_t fft = c->looker.fft;
        for (size_t k = 0; k < (size_t)c->n; k++) {
            double *x = c->now + k * c->looker.frame;
            for (size_t i = c->filled; i < c->looker.frame; i++)
                x[i] = 0;
            c->looks[c->n_looks * (size_t)c->n + k] =
                look_at(&c->looker, x, c->acf + k * fft, c->spectrum + k * fft);
            c->averaged[k] = 0;
        }
        look_together(&c->looker, (size_t)c->n, c->acf, c->spectrum,
                      c->looks + c->n_looks * (size_t)c->n);
        c->n_looks++;
    }
    c->heard = c->filled = c->in_step = 0;
}

static const look *look_of(const channels *c, size_t i, int k)
{
    return &c->looks[i * (size_t)c->n + (size_t)k];
}

static double loudest_look(const channels *c, int k)
{
    double most = 0;
    for (size_t i = 0; i < c->n_looks; i++)
        most = fmax(most, look_of(c, i, k)->power);
    return most;
}

static double variance_of(const channels *c, int k)
{
    double n = fmax(c->samples, 1), mean = c->sum[k] / n;
    return fmax(c->square[k] / n - mean * mean, 0);
}

static bool sung(const look *l, double loudest)
{
    return l->pitched >= sung_at && l->power > loudest * pow(10, -active_db / 10);
}

/* Share of the looks, pauses left out, that have one pitch. */
static double sung_share(const channels *c, int k)
{
    double loudest = loudest_look(c, k), active = 0, n = 0;
    for (size_t i = 0; i < c->n_looks; i++) {
        active += look_of(c, i, k)->power > loudest * pow(10, -active_db / 10);
        n += sung(look_of(c, i, k), loudest);
    }
    return active > 0 ? n / active : 0;
}

typedef struct line { /* of y over x */
    double n, x, y, xx, xy, yy;
} line;

static void line_add(line *l, double x, double y)
{
    l->n++;
    l->x += x;
    l->y += y;
    l->xx += x * x;
    l->xy += x * y;
    l->yy += y * y;
}

/* How the second harmonic of channel k, re its first, goes with that of the microphone `m`. */
typedef struct company {
    double looks;        /* with a note at which both are seen */
    double active, with; /* all looks with sound; autocorrelation of k at the note, median */
    double falls;        /* looks in which the first is the stronger in k */
    double moves_db, own_db, slope, alike; /* standard deviations of m and k; k over m; their
                                              correlation */
} company;

static company keep_company(const channels *c, int k, int m)
{
    double loud = loudest_look(c, m), *with = xmalloc(c->n_looks, sizeof *with);
    company p = {.looks = 0};
    line l = {.n = 0};
    for (size_t i = 0; i < c->n_looks; i++) {
        const look *a = look_of(c, i, k), *b = look_of(c, i, m);
        p.active += b->power > loud * pow(10, -active_db / 10);
        if (!sung(b, loud) || b->with < sung_at || !isfinite(a->second_db + b->second_db))
            continue;
        with[(size_t)l.n] = a->with;
        p.falls += a->second_db < 0;
        line_add(&l, b->second_db, a->second_db);
    }
    double x = l.x / l.n, y = l.y / l.n, xy = l.xy / l.n - x * y;
    p.looks = l.n;
    p.with = array_median(with, (size_t)l.n);
    p.moves_db = sqrt(fmax(l.xx / l.n - x * x, 0));
    p.own_db = sqrt(fmax(l.yy / l.n - y * y, 0));
    p.slope = xy / (p.moves_db * p.moves_db);
    p.alike = xy / (p.moves_db * p.own_db);
    free(with);
    return p;
}

/* Another microphone hears the same formants: its second harmonic rises and falls with the
 * first's. */
static bool follows(const channels *c, int k, int m)
{
    company p = keep_company(c, k, m);
    return p.looks >= company_looks && p.moves_db >= company_moves_db && p.slope > company_slope &&
           p.alike > company_alike;
}

/* How much smoother than the microphone `m` channel k is, dB beyond what an EGG has to be; 0 where
 * it cannot be the EGG beside it. */
static double smoother(const channels *c, int k, int m)
{
    double *less = xmalloc(c->n_looks, sizeof *less), *own = xmalloc(c->n_looks, sizeof *own);
    double *slope = xmalloc(c->n_looks, sizeof *slope), either = 0, falls = 0, result = 0;
    double loud_k = loudest_look(c, k), loud_m = loudest_look(c, m);
    size_t n = 0;
    for (size_t i = 0; i < c->n_looks; i++) {
        const look *a = look_of(c, i, k), *b = look_of(c, i, m);
        bool sung_a = sung(a, loud_k), sung_b = sung(b, loud_m);
        either += sung_a || sung_b;
        if (!sung_a || !sung_b || fabs(a->period / b->period - 1) > LOOK_SAME_PERIOD)
            continue;
        if (isnan(a->bumps_db) || isnan(b->bumps_db))
            continue;
        falls += a->falls;
        own[n] = a->bumps_db;
        slope[n] = a->slope;
        less[n++] = b->bumps_db - a->bumps_db;
    }
    double seen = (double)n;
    bool egg = n && seen >= egg_looks * either && falls >= egg_first * seen &&
               array_median(own, n) <= egg_bumps_db && array_median(slope, n) >= egg_steepest;
    if (egg && !follows(c, k, m))
        result = fmax(0, array_median(less, n) - egg_less_db);
    free(less);
    free(own);
    free(slope);
    return result;
}

/* Where noise hides what smoother() goes by: how little channel k follows the microphone `m`, 1
 * where it does not at all; 0 where it cannot be the EGG beside it. */
static double apart(const channels *c, int k, int m)
{
    company p = keep_company(c, k, m);
    bool seen = p.looks >= company_looks && p.looks >= egg_looks * p.active &&
                p.with >= company_with && p.moves_db >= company_moves_db;
    bool egg = seen && p.falls >= egg_first * p.looks && p.own_db <= company_less * p.moves_db &&
               p.slope <= company_slope && p.alike <= company_alike;
    return egg ? 1 / (1 + fabs(p.slope)) : 0;
}

/* Channels k and m for which `differ` says most. */
static int guess_by(const channels *c, int microphone, double (*differ)(const channels *, int, int))
{
    int egg = 0;
    double most = 0;
    for (int k = 0; k < c->n; k++)
        for (int m = 0; m < c->n; m++) {
            if (k == m || k + 1 == microphone || (microphone && m + 1 != microphone))
                continue;
            double d = differ(c, k, m);
            if (d > most) {
                most = d;
                egg = k + 1;
            }
        }
    return egg;
}

static int guess_egg(const channels *c, int microphone)
{
    int egg = guess_by(c, microphone, smoother);
    return egg ? egg : guess_by(c, microphone, apart);
}

static int guess_microphone(const channels *c, int egg)
{
    int best = egg == 1 ? 1 : 0;
    for (int k = 0; k < c->n; k++)
        if (k + 1 != egg && variance_of(c, k) > variance_of(c, best))
            best = k;
    int voice = best;
    double least_share = sung_share(c, best) + sung_more;
    double loudest = variance_of(c, best) * pow(10, -heard_db / 10);
    for (int k = 0; k < c->n; k++)
        if (k + 1 != egg && variance_of(c, k) > loudest && sung_share(c, k) >= least_share) {
            loudest = variance_of(c, k);
            voice = k;
        }
    return voice + 1;
}

void channels_choose(const channels *c, int named_microphone, int named_egg, int *microphone,
                     int *egg)
{
    *egg = named_egg ? named_egg : guess_egg(c, named_microphone);
    *microphone = named_microphone ? named_microphone : guess_microphone(c, *egg);
}
