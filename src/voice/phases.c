/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/phases.h"

#include "base/array.h"
#include "base/note.h"
#include "voice/heterodyne.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum { HARMONICS = 8, ROUNDS = 2 };
static const int harmonics_of_round[ROUNDS] = {3, HARMONICS};
static const heterodyne_window window = {0.030, 4};
static const double largest_share = 0.035; /* of the pitch, that one round corrects: 60 cents */
static const double robust_share = 0.01;   /* of the pitch, by which a harmonic strays for half */
static const double leap_st = 0.7;         /* a step between frames that is not smoothed over */
static const double path_half = 3;         /* frames on either side over which a path is averaged */
static const double wide_half_s = 0.0125;  /* seconds on either side that make a pitch */

typedef struct phases { /* of one frame: half harmonics 1..2 n + 1 */
    int n;
    float complex line[2 * HARMONICS + 1];
} phases;

typedef struct step { /* from one frame to the next */
    double hz;        /* mean pitch, NaN where one of the two is unvoiced */
    double clear;     /* 0 in noise, 1 without: the mean of its harmonics */
    double power;     /* of the harmonics, in the softer of the two frames */
} step;

typedef struct stray { /* how one harmonic's phase turns from one frame to the next */
    double hz;         /* what that adds to the pitch */
    double weight;     /* inverse of its variance */
    double clear;      /* 0 in noise, 1 without: half-way at 20 dB */
} stray;

/* The variance is that of noise, jitter (40 dB) and the resonances' lag, which in Hz of the pitch
 * is the same for every harmonic. Returns how many there are. */
static int strays(const phases *a, const phases *b, double seconds, stray *found)
{
    static const double jitter = 1e-4, lagging = 0.01, half_clear = 100;
    const double hz_a_turn = 1 / (2 * M_PI * seconds);
    int n = a->n < b->n ? a->n : b->n;
    for (int h = 1; h <= n; h++) {
        const float complex *p = a->line + 2 * h - 1, *q = b->line + 2 * h - 1;
        float noise =
            (line_power(p[-1]) + line_power(p[1]) + line_power(q[-1]) + line_power(q[1])) / 4;
        double snr = (double)(sqrtf(line_power(*p) * line_power(*q)) / (noise + 1e-30f)) + 1e-9;
        double square = h * h;
        found[h - 1] = (stray){.hz = (double)cargf(*q * conjf(*p)) * hz_a_turn / h,
                               .weight = square * snr / (1 + snr * (jitter + lagging * square)),
                               .clear = snr / (snr + half_clear)};
    }
    return n;
}

static double mean_of(const stray *found, int n)
{
    double sum = 0, weights = 0;
    for (int i = 0; i < n; i++) {
        sum += found[i].weight * found[i].hz;
        weights += found[i].weight;
    }
    return sum / weights;
}

/* The weighted median. */
static double median_of(const stray *found, int n)
{
    double sum = 0, below = 0, last = -(double)INFINITY;
    for (int i = 0; i < n; i++)
        sum += found[i].weight;
    for (;;) {
        const stray *next = NULL;
        for (int i = 0; i < n; i++)
            if (found[i].hz > last && (!next || found[i].hz < next->hz))
                next = &found[i];
        if (!next)
            return last;
        last = next->hz;
        below += next->weight;
        if (below >= sum / 2)
            return last;
    }
}

/* The mean, with harmonics that stray from the median counting the less: where the mouth closes or
 * opens the first formant sweeps over one or two of them, and turns their phases. */
static double robust_mean_of(const stray *found, int n, double hz)
{
    double about = median_of(found, n), per_hz = 1 / (robust_share * hz), sum = 0, weights = 0;
    for (int i = 0; i < n; i++) {
        double off = (found[i].hz - about) * per_hz;
        double weight = found[i].weight / (1 + off * off);
        sum += weight * found[i].hz;
        weights += weight;
    }
    return sum / weights;
}

/* A resonance holds on to the pitch that was, so that harmonics far from any tell first of a new
 * one. Where the pitch moves by more than 1 % a frame, clear harmonics that are ahead of the mean
 * count for more and those that are behind for less: e^6 for a hundredth of the pitch, e^4 at most.
 */
static double ahead(stray *found, int n, double hz, double slope)
{
    static const double moves = 0.01, favour = 6, most = 4;
    if (fabs(slope) < moves * hz)
        return robust_mean_of(found, n, hz);
    double mean = mean_of(found, n), sign = slope > 0 ? 1 : -1;
    for (int i = 0; i < n; i++) {
        double by = sign * favour * (found[i].hz - mean) / (0.01 * hz);
        found[i].weight *= exp(found[i].clear * fmax(-most, fmin(by, most)));
    }
    return mean_of(found, n);
}

static float voice_of(const phases *f)
{
    float voice = 0;
    for (int h = 1; h <= f->n; h++)
        voice += line_power(f->line[2 * h - 1]);
    return voice;
}

/* Power of the harmonics over that of what is half-way between them, as far as the sound reaches,
 * dB. */
static double clarity_of(const phases *f, double cycles_per_sample)
{
    float voice = voice_of(f), noise = 0, lines = 0;
    for (int h = 0; h <= f->n && (h + 0.5) * cycles_per_sample < 0.425; h++) {
        noise += line_power(f->line[2 * h]);
        lines++;
    }
    noise *= (float)f->n / fmaxf(lines, 1);
    return 10 * (double)log10f((voice + 1e-20f) / (noise + 1e-20f));
}

/* Hz per step about the step from frame i - 1 to frame i. */
static double slope_at(const double *hz, size_t n, size_t i)
{
    double from = i > 1 && !isnan(hz[i - 2]) ? hz[i - 2] : hz[i - 1];
    double to = i + 1 < n && !isnan(hz[i + 1]) ? hz[i + 1] : hz[i];
    return (to - from) / 3;
}

static step step_between(const phases *a, const phases *b, double seconds, double hz, double slope)
{
    stray found[HARMONICS];
    int n = strays(a, b, seconds, found);
    double limit = largest_share * hz, more = ahead(found, n, hz, slope), clear = 0;
    for (int h = 0; h < n; h++)
        clear += found[h].clear / n;
    return (step){hz + fmax(-limit, fmin(more, limit)), clear,
                  (double)fminf(voice_of(a), voice_of(b))};
}

/* steps[i] goes from frame i to frame i + 1. */
static void follow(heterodyne *het, const signal *x, double hop_s, size_t n, int most,
                   const double *hz, step *steps, double *clarity_db)
{
    phases both[2];
    for (size_t i = 0; i < n; i++) {
        phases *now = &both[i % 2];
        steps[i].hz = (double)NAN;
        if (isnan(hz[i]))
            continue;
        now->n = (int)fmin(most, fmax(1, floor(0.45 * x->rate_hz / hz[i])));
        heterodyne_lines(het, i, window, 2 * now->n + 1, now->line);
        clarity_db[i] = clarity_of(now, hz[i] / x->rate_hz);
        if (i > 0 && !isnan(hz[i - 1]))
            steps[i - 1] = step_between(&both[(i + 1) % 2], now, hop_s, (hz[i - 1] + hz[i]) / 2,
                                        slope_at(hz, n, i));
    }
}

/* Mean of the steps within `half` steps on either side of frame i, the outermost counting as their
 * share; as many on one side as on the other. At an end the one step that there is, else NaN. */
static double mean_about(const step *steps, size_t n, size_t i, double half)
{
    double sum = 0, weight = 0;
    for (size_t r = 0; (double)r < half && i + r + 1 < n && i > r; r++) {
        double a = steps[i - 1 - r].hz, b = steps[i + r].hz, w = fmin(1, half - (double)r);
        if (isnan(a) || isnan(b))
            break;
        sum += w * (a + b);
        weight += 2 * w;
    }
    if (weight > 0)
        return sum / weight;
    double a = i > 0 ? steps[i - 1].hz : (double)NAN;
    double b = i + 1 < n ? steps[i].hz : (double)NAN;
    return isnan(a) ? b : a;
}

/* hz[i] becomes the mean about it, where there is one. */
static void take_means(const step *steps, size_t n, double half, double *hz)
{
    for (size_t i = 0; i < n; i++) {
        double mean = isnan(hz[i]) ? (double)NAN : mean_about(steps, n, i, half);
        hz[i] = isnan(mean) ? hz[i] : mean;
    }
}

typedef struct sum {
    double hz, trust, weight; /* of steps */
} sum;

/* Where voice fades in or out, what sounds is mostly the ring of the resonances, and noise: steps
 * less than 0.3 clear, or softer than half of the loudest step about, count the less. */
static double trust_in(const step *s, double loudest)
{
    double clear = fmin(1, s->clear / 0.3), loud = fmin(1, s->power / (0.5 * loudest));
    return 1e-6 + clear * clear * clear * loud * loud;
}

/* Adds the steps that follow one another from i on, on one side (forward or not), until there is
 * none, within `half`. */
static void add_side(const step *steps, size_t n, size_t i, bool forward, double half,
                     double loudest, sum *all)
{
    for (size_t r = 0; (double)r < half && (forward ? i + r + 1 < n : i > r); r++) {
        const step *s = &steps[forward ? i + r : i - 1 - r];
        double weight = fmin(1, half - (double)r);
        if (isnan(s->hz))
            return;
        double trust = weight * trust_in(s, loudest);
        all->hz += trust * s->hz;
        all->trust += trust;
        all->weight += weight;
    }
}

static double loudest_about(const step *steps, size_t n, size_t i, size_t reach)
{
    double loudest = 0;
    for (size_t k = i > reach ? i - reach : 0; k < i + reach && k + 1 < n; k++)
        if (!isnan(steps[k].hz))
            loudest = fmax(loudest, steps[k].power);
    return loudest + 1e-20;
}

/* The pitch of the steps about frame i in semitones, NaN without; how far it is to be trusted. */
static double pitch_about(const step *steps, size_t n, size_t i, double half, double loudest,
                          double *trust)
{
    sum all = {0};
    add_side(steps, n, i, false, half, loudest, &all);
    add_side(steps, n, i, true, half, loudest, &all);
    *trust = all.trust / all.weight;
    return note_from_hz(all.hz / all.trust);
}

/* The mean over 25 ms, and where that is 15 to 30 cents off the mean of the two steps beside the
 * frame more and more the latter, as far as it can be trusted: there the pitch moves. */
static void settle(const step *steps, size_t n, double wide_half, const double *hz,
                   double *pitch_st)
{
    static const double lo_st = 0.15, hi_st = 0.3;
    for (size_t i = 0; i < n; i++) {
        if (isnan(hz[i]))
            continue;
        double loudest = loudest_about(steps, n, i, (size_t)ceil(wide_half)), wide_trust,
               near_trust;
        double wide_st = pitch_about(steps, n, i, wide_half, loudest, &wide_trust);
        double near_st = pitch_about(steps, n, i, 1, loudest, &near_trust);
        if (isnan(near_st))
            wide_st = near_st = note_from_hz(hz[i]);
        double share = fmax(0, fmin(1, (fabs(wide_st - near_st) - lo_st) / (hi_st - lo_st)));
        share *= near_trust < wide_trust ? near_trust / wide_trust : 1;
        pitch_st[i] = wide_st + share * (near_st - wide_st);
    }
}

void phases_refine(const signal *x, double hop_s, size_t n, double *pitch_st, double *clarity_db)
{
    heterodyne *het = heterodyne_new(x, hop_s, n, 2 * HARMONICS + 1);
    double *hz = xmalloc(n, sizeof *hz);
    step *steps = xcalloc(n, sizeof *steps);
    for (size_t i = 0; i < n; i++)
        hz[i] = note_to_hz(pitch_st[i]);
    for (size_t i = 0; i < n; i++) {
        bool goes_on = i + 1 < n && fabs(pitch_st[i + 1] - pitch_st[i]) < leap_st;
        steps[i].hz = goes_on ? (hz[i] + hz[i + 1]) / 2 : (double)NAN;
    }
    take_means(steps, n, path_half, hz);
    for (int r = 0; r < ROUNDS && heterodyne_follow(het, hz); r++) {
        follow(het, x, hop_s, n, harmonics_of_round[r], hz, steps, clarity_db);
        if (r + 1 < ROUNDS)
            take_means(steps, n, 1, hz);
    }
    settle(steps, n, wide_half_s / hop_s, hz, pitch_st);
    free(hz);
    free(steps);
    heterodyne_free(het);
}
