/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/harmonics.h"

#include "base/array.h"
#include "base/note.h"
#include "voice/heterodyne.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

static const double highest_hz = 6000;
static const double leap_st = 0.7;         /* a larger step between frames is not smoothed over */
static const double most_snr = 1e4;        /* jitter leaves no more than 40 dB to a phase */
static const double largest_share = 0.035; /* of the pitch, that one round corrects: 60 cents */

static double power_of(double complex line)
{
    return creal(line) * creal(line) + cimag(line) * cimag(line);
}

static double *pitch_hz(const track *t)
{
    double *hz = xmalloc(t->n, sizeof *hz);
    for (size_t i = 0; i < t->n; i++)
        hz[i] = note_to_hz(t->pitch_st[i]);
    return hz;
}

static int harmonics_below(const signal *x, double hz, int most)
{
    return (int)fmin(most, floor(fmin(highest_hz, 0.45 * x->rate_hz) / hz));
}

/* Mean of the pitch over `reach` frames on either side, as far as no leap or gap parts them. */
static void smooth_pitch(track *t, size_t reach)
{
    double *smooth = xmalloc(t->n, sizeof *smooth);
    for (size_t i = 0; i < t->n; i++) {
        size_t lo = i, hi = i;
        while (hi < i + reach && hi + 1 < t->n &&
               fabs(t->pitch_st[hi + 1] - t->pitch_st[hi]) < leap_st && lo > 0 &&
               fabs(t->pitch_st[lo - 1] - t->pitch_st[lo]) < leap_st) {
            hi++;
            lo--;
        }
        double sum = 0;
        for (size_t j = lo; j <= hi; j++)
            sum += t->pitch_st[j];
        smooth[i] = sum / (double)(hi - lo + 1);
    }
    for (size_t i = 0; i < t->n; i++)
        t->pitch_st[i] = smooth[i];
    free(smooth);
}

typedef struct phases { /* of one frame: half harmonics 1..2 n + 1 */
    int n;
    double complex line[HETERODYNE_MOST];
} phases;

/* What the turn of the phases from frame a to frame b adds to the pitch, Hz; false when both have
 * no harmonic in common. */
static bool stray(const phases *a, const phases *b, double seconds, double *hz)
{
    double sum = 0, weight = 0;
    for (int h = 1; h <= a->n && h <= b->n; h++) {
        const double complex *p = a->line + 2 * h - 1, *q = b->line + 2 * h - 1;
        double noise = (power_of(p[-1]) + power_of(p[1]) + power_of(q[-1]) + power_of(q[1])) / 4;
        double snr = fmin(cabs(*p) * cabs(*q) / (noise + 1e-30), most_snr);
        sum += snr * h * carg(*q * conj(*p)) / (2 * M_PI * seconds);
        weight += snr * h * h;
    }
    *hz = weight > 0 ? sum / weight : 0;
    return weight > 0;
}

/* One round with the lowest `most` harmonics. */
static void refine_round(const signal *x, track *t, int most)
{
    double *hz = pitch_hz(t);
    heterodyne *het = heterodyne_new(x, t->hop_s, t->n, hz);
    phases *all = xcalloc(t->n, sizeof *all);
    for (size_t i = 0; het && i < t->n; i++)
        if (!isnan(hz[i])) {
            all[i].n = harmonics_below(x, hz[i], most);
            heterodyne_lines(het, i, 2 * all[i].n + 1, all[i].line);
        }
    for (size_t i = 0; het && i < t->n; i++) {
        if (isnan(hz[i]))
            continue;
        size_t a = i > 0 && !isnan(hz[i - 1]) ? i - 1 : i;
        size_t b = i + 1 < t->n && !isnan(hz[i + 1]) ? i + 1 : i;
        double more;
        if (b > a && stray(&all[a], &all[b], (double)(b - a) * t->hop_s, &more))
            t->pitch_st[i] = note_from_hz(
                hz[i] + fmax(-largest_share * hz[i], fmin(more, largest_share * hz[i])));
    }
    free(all);
    heterodyne_free(het);
    free(hz);
}

void harmonics_refine(const signal *x, track *t)
{
    smooth_pitch(t, 3);
    refine_round(x, t, 3);
    refine_round(x, t, 8);
}

static float db(double power)
{
    return power > 0 ? (float)(10 * log10(power)) : -INFINITY;
}

void harmonics_measure(const signal *x, track *t)
{
    double *hz = pitch_hz(t);
    heterodyne *het = heterodyne_new(x, t->hop_s, t->n, hz);
    for (size_t i = 0; het && i < t->n; i++) {
        if (isnan(hz[i]))
            continue;
        double complex line[HETERODYNE_MOST];
        int harmonics = harmonics_below(x, hz[i], TRACK_HARMONICS);
        heterodyne_lines(het, i, 2 * harmonics + 1, line);
        for (int h = 0; h < harmonics; h++) {
            size_t at = i * TRACK_HARMONICS + (size_t)h;
            t->harmonic_db[at] = db(2 * power_of(line[2 * h + 1]));
            t->noise_db[at] = db(power_of(line[2 * h]) + power_of(line[2 * h + 2]));
        }
    }
    heterodyne_free(het);
    free(hz);
}
