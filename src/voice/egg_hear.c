/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/egg_hear.h"

#include "base/array.h"
#include "base/note.h"
#include "voice/lowband.h"
#include "voice/path.h"

#include <math.h>
#include <stdlib.h>

static const double baseline_s = 0.018; /* a period of the lowest voice */
static const double like_next = 0.9, most_st = 1;
enum { LASTS = 10 }; /* frames */

/* The EGG less its mean over a period of the lowest voice: what the larynx does in rising and
 * sinking goes. */
static signal level_off(const float *x, size_t n, double rate_hz)
{
    signal flat = {.rate_hz = rate_hz, .n = n, .x = xmalloc(n, sizeof *flat.x)};
    size_t half = (size_t)lround(baseline_s * rate_hz / 2);
    double *sum = xmalloc(n + 1, sizeof *sum);
    sum[0] = 0;
    for (size_t i = 0; i < n; i++)
        sum[i + 1] = sum[i] + (double)x[i];
    for (size_t i = 0; i < n; i++)
        flat.x[i] = (float)((double)x[i] - array_mean_about(sum, n, i, half));
    free(sum);
    return flat;
}

/* The end of the stretch that begins at `from` and repeats plainly without a leap. */
static size_t plain_end(const path *p, size_t n, size_t from, double most_unexplained)
{
    size_t end = from;
    while (end < n && p->unexplained[end] <= most_unexplained &&
           (end == from || fabs(p->st[end] - p->st[end - 1]) < most_st))
        end++;
    return end;
}

/* Takes the pitch from where the EGG does not repeat plainly for long enough. */
static void keep_plain(const path *p, size_t n, double most_unexplained)
{
    for (size_t i = 0, end; i < n; i = end) {
        end = plain_end(p, n, i, most_unexplained);
        bool lasts = end - i >= LASTS;
        end = end > i ? end : i + 1;
        for (size_t k = i; k < end && !lasts; k++)
            p->st[k] = (double)NAN;
    }
}

double *egg_hear_pitch(const companion *opt_egg, double hop_s, size_t n, const pitch_settings *s)
{
    if (!opt_egg)
        return NULL;
    size_t samples;
    const float *x = companion_samples(opt_egg, &samples);
    signal flat = level_off(x, samples, companion_rate_hz(opt_egg)), low = lowband_of(&flat);
    double *everywhere = array_filled(n, 1);
    path p = {xmalloc(n, sizeof *p.st), xmalloc(n, sizeof *p.unexplained),
              xmalloc(n, sizeof *p.doubled), xmalloc(n, sizeof *p.halved)};
    pitch_settings own = *s;
    own.opt_folds_st = NULL;
    path_find(&low, hop_s, n, everywhere, &own, &p);
    keep_plain(&p, n, log(1 - like_next + s->floor));
    free(everywhere);
    free(p.unexplained);
    free(p.doubled);
    free(p.halved);
    signal_clear(&flat);
    signal_clear(&low);
    return p.st;
}

void egg_hear_contact(const companion *egg, egg_way contact, bool guessed, track *t)
{
    size_t n;
    const float *x = companion_samples(egg, &n);
    double *hz = xmalloc(t->n, sizeof *hz);
    for (size_t i = 0; i < t->n; i++)
        hz[i] = note_to_hz(t->pitch_st[i]);
    t->egg = xmalloc(t->n, sizeof *t->egg);
    egg_measure(x, n, companion_rate_hz(egg), contact, t->hop_s, hz, t->n, t->egg);
    for (size_t i = 0; guessed && i < t->n; i++)
        t->egg[i].quotient = t->egg[i].peaks_quotient = NAN;
    free(hz);
}
