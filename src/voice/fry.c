/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/fry.h"

#include "base/array.h"
#include "base/note.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

static const double moves_st = 9; /* at most, from one frame to the next of a stretch */
static const double beside_s = 0.1, note_s = 0.06, pulses_s = 0.1, lowest_hz = 220;
static const double one_note_st = 4, one_note_s = 0.3, back_s = 0.1;
static const double cell_s = 0.004, least_swing_db = 2, faintest = 1e-12;
enum { STEPS = 25 }; /* of 1 ms, on either side */

typedef struct stretch { /* of pitch, frames first..last */
    size_t first, last;
    double over_st; /* the note far below; NaN: none */
    bool rings;
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

static bool is_far(const stretch *s)
{
    return !isnan(s->over_st);
}

/* The note far below `s`, by its neighbour `by`: NaN where there is none. */
static double note_below(const double *st, double hop_s, double far_st, const stretch *s,
                         const stretch *by)
{
    bool before = by->first < s->first;
    double apart_s = hop_s * (double)(before ? s->first - by->last : by->first - s->last);
    bool lasts = is_far(by) || hop_s * (double)(by->last - by->first + 1) >= note_s;
    double note_st = is_far(by) ? by->over_st : before ? st[by->last] : st[by->first];
    double here_st = before ? st[s->first] : st[s->last];
    bool far = here_st >= fmax(note_st + far_st, note_from_hz(lowest_hz));
    return apart_s <= beside_s && lasts && far ? note_st : (double)NAN;
}

/* By one neighbour or the other, from the first on and then from the last: what lies far above lies
 * beside more of it. */
static void find_far(double hop_s, double far_st, const double *st, stretch *found, size_t n)
{
    for (size_t k = 1; k < n; k++)
        found[k].over_st = note_below(st, hop_s, far_st, &found[k], &found[k - 1]);
    for (size_t k = n; k-- > 1;)
        if (!is_far(&found[k - 1]))
            found[k - 1].over_st = note_below(st, hop_s, far_st, &found[k - 1], &found[k]);
}

/* Seconds between two stretches on one note; infinite between two notes. */
static double on_one_note_s(const double *st, double hop_s, const stretch *before,
                            const stretch *after)
{
    bool one = fabs(st[after->first] - st[before->last]) < one_note_st;
    return one ? (double)(after->first - before->last) * hop_s : (double)INFINITY;
}

/* Of a row of stretches far above takes those out that ring, between notes so far apart. */
static void silence(const signal *low, double hop_s, double apart_s, stretch *from,
                    const stretch *end, double *st)
{
    double rings_s = 0;
    for (stretch *s = from; s < end; s++) {
        s->rings = apart_s < back_s || swings(low, hop_s, s);
        rings_s += s->rings ? (double)(s->last - s->first + 1) * hop_s : 0;
    }
    bool pulses = rings_s >= pulses_s;
    for (const stretch *s = from; s < end && (pulses || apart_s < one_note_s); s++)
        for (size_t i = s->first; s->rings && i <= s->last; i++)
            st[i] = (double)NAN;
}

void fry_silence(const signal *low, double hop_s, size_t n, double far_st, double *st)
{
    size_t n_found;
    stretch *found = stretches_of(st, n, &n_found), *last = found + n_found;
    find_far(hop_s, far_st, st, found, n_found);
    for (stretch *s = found, *end; s < last; s = end) {
        for (end = s + 1; is_far(s) && end < last && is_far(end);)
            end++;
        bool between = s > found && end < last;
        if (is_far(s))
            silence(low, hop_s, between ? on_one_note_s(st, hop_s, s - 1, end) : (double)INFINITY,
                    s, end, st);
    }
    free(found);
}
