/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/pitch.h"

#include "base/array.h"
#include "voice/candidates.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>

pitch_settings pitch_defaults(void)
{
    return (pitch_settings){.lo_hz = 55,
                            .hi_hz = 1500,
                            .window_lo_s = 0.010,
                            .window_hi_s = 0.018,
                            .voiced_at = 0.55,
                            .floor = 0.01,
                            .octave_cost = 0.4,
                            .leap_cost = 0.5,
                            .leap_free_st = 0.3,
                            .leap_cap = 2,
                            .onset_cost = 1,
                            .lasting_at = 0.6,
                            .gate_db = 45,
                            .loud_db = (double)NAN};
}

bool pitch_check(const pitch_settings *s, err *e)
{
    if (!(s->lo_hz >= 30 && s->lo_hz < s->hi_hz && s->hi_hz <= 2000))
        return err_set(e, "Pitch limits must lie within 30-2000 Hz, the lower one first.");
    if (!(s->window_lo_s >= 0.004 && s->window_lo_s <= s->window_hi_s && s->window_hi_s <= 0.1))
        return err_set(e, "Pitch windows must lie within 4-100 ms, the shorter one first.");
    return true;
}

enum { STATES = CANDIDATES_MOST + 1, UNVOICED = CANDIDATES_MOST };

typedef struct column { /* one frame of the search */
    size_t n;
    candidate found[CANDIDATES_MOST];
    double total[STATES];
    unsigned char from[STATES];
} column;

static double leap(const pitch_settings *s, double from_st, double to_st)
{
    double beyond = fabs(to_st - from_st) - s->leap_free_st;
    return beyond <= 0 ? 0 : fmin(s->leap_cost * beyond, s->leap_cap);
}

static void arrive(const pitch_settings *s, const column *before, column *now, int state)
{
    double best = before->total[UNVOICED] + (state == UNVOICED ? 0 : s->onset_cost);
    int from = UNVOICED;
    for (int i = 0; i < (int)before->n; i++) {
        double cost = before->total[i];
        cost +=
            state == UNVOICED ? s->onset_cost : leap(s, before->found[i].st, now->found[state].st);
        if (cost < best) {
            best = cost;
            from = i;
        }
    }
    now->total[state] = best + (state == UNVOICED ? 0 : now->found[state].cost);
    now->from[state] = (unsigned char)from;
}

static double loud_part(const double *level_db, size_t n)
{
    double *sorted = xmalloc(n, sizeof *sorted);
    for (size_t i = 0; i < n; i++)
        sorted[i] = level_db[i];
    gsl_sort(sorted, 1, n);
    double loud = sorted[(n - 1) * 95 / 100];
    free(sorted);
    return loud;
}

static int cheapest(const column *c)
{
    int best = UNVOICED;
    for (int i = 0; i < (int)c->n; i++)
        if (c->total[i] < c->total[best])
            best = i;
    return best;
}

/* Logistic in the cost of the best candidate: 0.5 where voice and no voice cost the same. */
static double probability(const column *c, int state)
{
    double cost = state != UNVOICED ? c->found[state].cost : c->n ? c->found[0].cost : 3;
    return 1 / (1 + exp(2 * cost));
}

/* Mean of lasting over the voiced frames among from..to; 0 when there are none. */
static double mean_lasting(const double *lasting, size_t n, long from, long to)
{
    double sum = 0, count = 0;
    for (long j = from < 0 ? 0 : from; j < (long)n && j <= to; j++)
        if (!isnan(lasting[j])) {
            sum += lasting[j];
            count++;
        }
    return count > 0 ? sum / count : 0;
}

/* Takes the voice from frames that do not stay periodic over 9 ms: breath that rings in the tract
 * has a pitch from period to period, but not for long. A flip breaks the period, too, but has
 * lasting voice on both sides. */
static void silence_breath(const pitch_settings *s, const double *lasting, size_t n,
                           double *pitch_st)
{
    enum { OWN = 2, NEAR = 4, FAR = 16 };
    for (size_t k = 0; k < n; k++) {
        long i = (long)k;
        bool here = mean_lasting(lasting, n, i - OWN, i + OWN) >= s->lasting_at;
        bool about = mean_lasting(lasting, n, i - FAR, i - NEAR) >= s->lasting_at &&
                     mean_lasting(lasting, n, i + NEAR, i + FAR) >= s->lasting_at;
        if (!here && !about)
            pitch_st[k] = (double)NAN;
    }
}

/* Loudest of the frames within `reach` of from..to, these included. */
static double loudest_about(const double *level_db, size_t n, size_t from, size_t to, size_t reach)
{
    double loudest = -(double)INFINITY;
    for (size_t j = from > reach ? from - reach : 0; j < n && j <= to + reach; j++)
        loudest = fmax(loudest, level_db[j]);
    return loudest;
}

/* Takes the voice from short faint stretches whose pitch is far from that before and after: the
 * ring of a consonant between two sung vowels. */
static void silence_consonants(const double *level_db, size_t n, double *pitch_st)
{
    enum { SHORT = 36, ABOUT = 60 }; /* 180 and 300 ms */
    static const double far_st = 6, faint_db = 14;
    for (size_t i = 0, end; i < n; i = end) {
        end = i + 1;
        if (isnan(pitch_st[i]))
            continue;
        double loud = level_db[i];
        while (end < n && fabs(pitch_st[end] - pitch_st[end - 1]) < far_st)
            loud = fmax(loud, level_db[end++]);
        if (end - i > SHORT || loud > loudest_about(level_db, n, i, end - 1, ABOUT) - faint_db)
            continue;
        for (size_t j = i; j < end; j++)
            pitch_st[j] = (double)NAN;
    }
}

void pitch_track(const signal *x, double hop_s, size_t n, const double *level_db,
                 const pitch_settings *s, double *pitch_st, double *voicing)
{
    if (!n)
        return;
    column *columns = xcalloc(n, sizeof *columns);
    correlator *c = correlator_new(x, s);
    const column start = {.n = 0};
    double gate_db = (isnan(s->loud_db) ? loud_part(level_db, n) : s->loud_db) - s->gate_db;
    for (size_t i = 0; i < n; i++) {
        column *now = &columns[i];
        if (level_db[i] > gate_db)
            now->n = correlator_candidates(c, (double)i * hop_s, now->found);
        const column *before = i ? &columns[i - 1] : &start;
        for (int k = 0; k < (int)now->n; k++)
            arrive(s, before, now, k);
        arrive(s, before, now, UNVOICED);
    }
    correlator_free(c);
    double *lasting = xmalloc(n, sizeof *lasting);
    int state = cheapest(&columns[n - 1]);
    for (size_t i = n; i-- > 0;) {
        pitch_st[i] = state == UNVOICED ? (double)NAN : columns[i].found[state].st;
        lasting[i] = state == UNVOICED ? (double)NAN : columns[i].found[state].lasting;
        voicing[i] = probability(&columns[i], state);
        state = columns[i].from[state];
    }
    silence_breath(s, lasting, n, pitch_st);
    silence_consonants(level_db, n, pitch_st);
    free(lasting);
    free(columns);
}
