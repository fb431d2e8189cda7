/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/fry.h"

#include "base/array.h"
#include "base/note.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

static const double moves_st = 9; /* at most, from one frame to the next of a stretch */
static const double beside_s = 0.1, note_s = 0.06, pulses_s = 0.1, one_note_s = 0.3,
                    one_note_st = 4, lowest_hz = 220;
static const double cell_s = 0.004, least_swing_db = 2, faintest = 1e-12;
enum { STEPS = 25 }; /* of 1 ms, on either side */

typedef struct stretch { /* of pitch, frames first..last */
    size_t first, last;
    double over_st; /* a ring: the note below; NaN: none */
} stretch;

static stretch *stretches_of(const double *st, size_t n, size_t *n_found)
{
    stretch *found = xmalloc(n, sizeof *found);
    *n_found = 0;
    for (size_t i = 0; i < n; i++) {
        if (isnan(st[i]))
            continue;
        if (i == 0 || !(fabs(st[i] - st[i - 1]) < moves_st))
            found[(*n_found)++] = (stretch){.first = i, .over_st = (double)NAN};
        found[*n_found - 1].last = i;
    }
    return found;
}

static double power_db(const signal *x, double from_s)
{
    size_t first = (size_t)(from_s * x->rate_hz), n = (size_t)(cell_s * x->rate_hz);
    double sum = faintest;
    for (size_t i = first; i < first + n && i < x->n; i++)
        sum += (double)x->x[i] * (double)x->x[i] / (double)n;
    return 10 * log10(sum);
}

/* The variance of the power in the 50 ms about a time, dB^2, a straight line taken out. */
static double swing_of(const signal *low, double at_s)
{
    double n = 0, sum = 0, squares = 0, with_k = 0, k_squares = 0;
    for (int k = -STEPS; k <= STEPS; k++) {
        double db = power_db(low, fmax(0, at_s - cell_s / 2 + 0.001 * k));
        n++;
        sum += db;
        squares += db * db;
        with_k += k * db;
        k_squares += k * k;
    }
    return fmax(0, (squares - sum * sum / n - with_k * with_k / k_squares) / n);
}

static bool swings(const signal *low, double hop_s, const stretch *s)
{
    double sum = 0;
    for (size_t i = s->first; i <= s->last; i++)
        sum += sqrt(swing_of(low, (double)i * hop_s));
    return sum >= least_swing_db * (double)(s->last - s->first + 1);
}

static bool rings(const stretch *s)
{
    return !isnan(s->over_st);
}

/* The note over which `s` would ring, by its neighbour `by`: NaN where there is none. */
static double note_below(const double *st, double hop_s, double far_st, const stretch *s,
                         const stretch *by)
{
    bool before = by->first < s->first;
    double apart_s = hop_s * (double)(before ? s->first - by->last : by->first - s->last);
    bool lasts = rings(by) || hop_s * (double)(by->last - by->first + 1) >= note_s;
    double note_st = rings(by) ? by->over_st : before ? st[by->last] : st[by->first];
    double here_st = before ? st[s->first] : st[s->last];
    bool far = here_st >= fmax(note_st + far_st, note_from_hz(lowest_hz));
    return apart_s <= beside_s && lasts && far ? note_st : (double)NAN;
}

/* By one neighbour or the other, until no more are found: rings lie beside rings. */
static void find_rings(const signal *low, double hop_s, double far_st, const double *st,
                       stretch *found, size_t n)
{
    for (bool more = true; more;) {
        more = false;
        for (size_t k = 0; k < n; k++)
            for (size_t j = k ? k - 1 : 1; j <= k + 1 && j < n && !rings(&found[k]); j += 2) {
                double note_st = note_below(st, hop_s, far_st, &found[k], &found[j]);
                if (isnan(note_st) || !swings(low, hop_s, &found[k]))
                    continue;
                found[k].over_st = note_st;
                more = true;
            }
    }
}

static void silence(const stretch *rings, const stretch *end, double *st)
{
    for (const stretch *s = rings; s < end; s++)
        for (size_t i = s->first; i <= s->last; i++)
            st[i] = (double)NAN;
}

/* Whether the voice is on one note before and after: between two a flip may be heard so. */
static bool on_one_note(const double *st, double hop_s, const stretch *before, const stretch *after)
{
    double apart_s = (double)(after->first - before->last) * hop_s;
    return apart_s < one_note_s && fabs(st[after->first] - st[before->last]) < one_note_st;
}

void fry_silence(const signal *low, double hop_s, size_t n, double far_st, double *st)
{
    size_t n_found;
    stretch *found = stretches_of(st, n, &n_found), *last = found + n_found;
    find_rings(low, hop_s, far_st, st, found, n_found);
    for (stretch *s = found, *end; s < last; s = end) {
        for (end = s + 1; rings(s) && end < last && rings(end);)
            end++;
        if (!rings(s))
            continue;
        bool pulses = (double)(end[-1].last - s->first + 1) * hop_s >= pulses_s;
        if (pulses || (s > found && end < last && on_one_note(st, hop_s, s - 1, end)))
            silence(s, end, st);
    }
    free(found);
}
