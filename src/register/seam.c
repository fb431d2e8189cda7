/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/seam.h"

#include "base/array.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <stdlib.h>

static const double pitch_jnd_cents = 10, level_jnd_db = 1, spectrum_jnd_db = 3.2;
static const double at_once_ms = 100;

double seam_of(const flip *f)
{
    double pitch = f->leap_cents / pitch_jnd_cents, level = f->level_step_db / level_jnd_db;
    double spectrum = f->spectral_step_db / spectrum_jnd_db;
    /* Of a cumulative normal, whose 10-90 % time is 1.8124 times its sd times the root of 2. */
    double share = erf(1.8124 * at_once_ms / 2 / f->span_ms);
    return sqrt(share * share * (pitch * pitch + level * level + spectrum * spectrum) +
                f->irregular_cycles);
}

double seam_median(const flips *found, size_t n)
{
    size_t all = 0, some = 0;
    for (size_t k = 0; k < n; k++)
        all += found[k].n;
    double *seams = xmalloc(all, sizeof *seams);
    for (size_t k = 0; k < n; k++)
        for (size_t i = 0; i < found[k].n; i++) {
            const flip *f = &found[k].items[i];
            if (f->confidence >= FLIP_ASSERTED && !isnan(f->seam_jnd))
                seams[some++] = f->seam_jnd;
        }
    gsl_sort(seams, 1, some);
    double median = some ? gsl_stats_median_from_sorted_data(seams, 1, some) : (double)NAN;
    free(seams);
    return median;
}
