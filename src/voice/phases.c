/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/phases.h"

#include "base/array.h"
#include "base/note.h"
#include "voice/heterodyne.h"

#include <math.h>
#include <stdlib.h>

enum { HARMONICS = 8, ROUNDS = 2 };
static const int harmonics_of_round[ROUNDS] = {3, HARMONICS};
static const heterodyne_window window = {0.030, 4};
static const double largest_share = 0.035; /* of the pitch, that one round corrects: 60 cents */
static const double leap_st = 0.7;         /* a step between frames that is not smoothed over */
static const double path_half = 3;         /* frames on either side over which a path is averaged */
static const double wide_half_s = 0.0125;  /* seconds on either side that make a pitch */

typedef struct phases { /* of one frame: half harmonics 1..2 n + 1 */
    int n;
    float complex line[2 * HARMONICS + 1];
} phases;

static float power_of(float complex line)
{
    return crealf(line) * crealf(line) + cimagf(line) * cimagf(line);
}

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
    int n = a->n < b->n ? a->n : b->n;
    for (int h = 1; h <= n; h++) {
        const float complex *p = a->line + 2 * h - 1, *q = b->line + 2 * h - 1;
        float noise = (power_of(p[-1]) + power_of(p[1]) + power_of(q[-1]) + power_of(q[1])) / 4;
        double snr = (double)(sqrtf(power_of(*p) * power_of(*q)) / (noise + 1e-30f));
        found[h - 1] = (stray){.hz = (double)cargf(*q * conjf(*p)) / h / (2 * M_PI * seconds),
                               .weight = h * h / (1 / (snr + 1e-9) + jitter + lagging * h * h),
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

/* A resonance holds on to the pitch that was, so that harmonics far from any tell first of a new
 * one. Where the pitch moves by more than 1 % a frame, clear harmonics that are ahead of the mean
 * count for more and those that are behind for less: e^6 for a hundredth of the pitch, e^4 at most.
 */
static double ahead(stray *found, int n, double hz, double slope)
{
    static const double moves = 0.01, favour = 6, most = 4;
    double mean = mean_of(found, n), sign = slope > 0 ? 1 : -1;
    if (fabs(slope) < moves * hz)
        return mean;
    for (int i = 0; i < n; i++) {
        double by = sign * favour * (found[i].hz - mean) / (0.01 * hz);
        found[i].weight *= exp(found[i].clear * fmax(-most, fmin(by, most)));
    }
    return mean_of(found, n);
}

/* Power of the harmonics over that of what is half-way between them, as far as the sound reaches,
 * dB. */
static double clarity_of(const phases *f, double cycles_per_sample)
{
    float voice = 0, noise = 0, lines = 0;
    for (int h = 1; h <= f->n; h++)
        voice += power_of(f->line[2 * h - 1]);
    for (int h = 0; h <= f->n && (h + 0.5) * cycles_per_sample < 0.425; h++) {
        noise += power_of(f->line[2 * h]);
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

/* step_hz[i]: mean pitch between frames i and i + 1; NaN where one of them is unvoiced. */
static void follow(heterodyne *het, const signal *x, double hop_s, size_t n, int most,
                   const double *hz, double *step_hz, double *clarity_db)
{
    phases both[2];
    for (size_t i = 0; i < n; i++) {
        phases *now = &both[i % 2];
        step_hz[i] = (double)NAN;
        if (isnan(hz[i]))
            continue;
        now->n = (int)fmin(most, fmax(1, floor(0.45 * x->rate_hz / hz[i])));
        heterodyne_lines(het, i, window, 2 * now->n + 1, now->line);
        clarity_db[i] = clarity_of(now, hz[i] / x->rate_hz);
        if (i == 0 || isnan(hz[i - 1]))
            continue;
        stray found[HARMONICS];
        int most_found = strays(&both[(i + 1) % 2], now, hop_s, found);
        double middle = (hz[i - 1] + hz[i]) / 2, limit = largest_share * middle;
        double more = ahead(found, most_found, middle, slope_at(hz, n, i));
        step_hz[i - 1] = middle + fmax(-limit, fmin(more, limit));
    }
}

/* Mean of the steps within `half` steps on either side of frame i, the outermost counting as their
 * share; as many on one side as on the other. At an end the one step that there is, else NaN. */
static double mean_about(const double *step, size_t n, size_t i, double half)
{
    double sum = 0, weight = 0;
    for (size_t r = 0; (double)r < half && i + r + 1 < n && i > r; r++) {
        double a = step[i - 1 - r], b = step[i + r], w = fmin(1, half - (double)r);
        if (isnan(a) || isnan(b))
            break;
        sum += w * (a + b);
        weight += 2 * w;
    }
    if (weight > 0)
        return sum / weight;
    double a = i > 0 ? step[i - 1] : (double)NAN, b = i + 1 < n ? step[i] : (double)NAN;
    return isnan(a) ? b : a;
}

/* hz[i] becomes the mean about it, where there is one. */
static void take_means(const double *step, size_t n, double half, double *hz)
{
    for (size_t i = 0; i < n; i++) {
        double mean = isnan(hz[i]) ? (double)NAN : mean_about(step, n, i, half);
        hz[i] = isnan(mean) ? hz[i] : mean;
    }
}

/* The mean over 25 ms, and where that is 15 to 30 cents off the mean of the two steps beside the
 * frame more and more the latter: there the pitch moves. */
static void settle(const double *step, size_t n, double wide_half, const double *hz,
                   double *pitch_st)
{
    static const double lo_st = 0.15, hi_st = 0.3;
    for (size_t i = 0; i < n; i++) {
        if (isnan(hz[i]))
            continue;
        double wide = mean_about(step, n, i, wide_half), near = mean_about(step, n, i, 1);
        if (isnan(near))
            wide = near = hz[i];
        double wide_st = note_from_hz(wide), near_st = note_from_hz(near);
        double share = (fabs(wide_st - near_st) - lo_st) / (hi_st - lo_st);
        pitch_st[i] = wide_st + fmax(0, fmin(1, share)) * (near_st - wide_st);
    }
}

void phases_refine(const signal *x, double hop_s, size_t n, double *pitch_st, double *clarity_db)
{
    heterodyne *het = heterodyne_new(x, hop_s, n);
    double *hz = xmalloc(n, sizeof *hz), *step = xmalloc(n, sizeof *step);
    for (size_t i = 0; i < n; i++)
        hz[i] = note_to_hz(pitch_st[i]);
    for (size_t i = 0; i < n; i++) {
        bool goes_on = i + 1 < n && fabs(pitch_st[i + 1] - pitch_st[i]) < leap_st;
        step[i] = goes_on ? (hz[i] + hz[i + 1]) / 2 : (double)NAN;
    }
    take_means(step, n, path_half, hz);
    for (int r = 0; r < ROUNDS && heterodyne_follow(het, hz); r++) {
        follow(het, x, hop_s, n, harmonics_of_round[r], hz, step, clarity_db);
        if (r + 1 < ROUNDS)
            take_means(step, n, 1, hz);
    }
    settle(step, n, wide_half_s / hop_s, hz, pitch_st);
    free(hz);
    free(step);
    heterodyne_free(het);
}
