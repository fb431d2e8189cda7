/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/path.h"

#include "base/array.h"
#include "base/lanes.h"
#include "voice/candidates.h"
#include "voice/glide.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum { STATES = CANDIDATES_MOST + 1, UNVOICED = CANDIDATES_MOST };
enum { SURE = 10 }; /* frames in which a pitch has to go on to be relied on */

typedef struct column { /* one frame of the search */
    size_t n;
    candidate found[CANDIDATES_MOST];
    double total[STATES];
    unsigned char from[STATES];
} column;

/* From state i of those before to each of now's but UNVOICED, where that is the cheapest so far. */
EACH_PROCESSOR static void leap(const pitch_settings *s, const column *before, long i,
                                const double *restrict st, double *restrict best,
                                long *restrict from)
{
    const double from_st = before->found[i].st, at = before->total[i];
    const double free_st = s->leap_free_st, far_st = s->far_st;
    const double per_st = s->leap_cost, cap = s->leap_cap, far_cost = s->far_cost;
    for (int k = 0; k < CANDIDATES_MOST; k++) {
        double by = fabs(st[k] - from_st), beyond = by - free_st, least = best[k];
        double cost = per_st * (beyond > 0 ? beyond : 0);
        cost = (cost < cap ? cost : cap) + (by > far_st ? far_cost : 0) + at;
        from[k] = cost < least ? i : from[k];
        best[k] = cost < least ? cost : least;
    }
}

static void arrive(const pitch_settings *s, const column *before, column *now)
{
    double st[CANDIDATES_MOST] = {0}, best[CANDIDATES_MOST], none = before->total[UNVOICED];
    long from[CANDIDATES_MOST];
    now->from[UNVOICED] = UNVOICED;
    for (size_t k = 0; k < CANDIDATES_MOST; k++) {
        best[k] = none + s->onset_cost;
        from[k] = UNVOICED;
    }
    for (size_t k = 0; k < now->n; k++)
        st[k] = now->found[k].st;
    for (long i = 0; i < (long)before->n; i++) {
        leap(s, before, i, st, best, from);
        if (before->total[i] + s->onset_cost < none) {
            none = before->total[i] + s->onset_cost;
            now->from[UNVOICED] = (unsigned char)i;
        }
    }
    now->total[UNVOICED] = none;
    for (size_t k = 0; k < now->n; k++) {
        now->total[k] = best[k] + now->found[k].cost;
        now->from[k] = (unsigned char)from[k];
    }
}

static int cheapest(const column *c)
{
    int best = UNVOICED;
    for (int i = 0; i < (int)c->n; i++)
        if (c->total[i] < c->total[best])
            best = i;
    return best;
}

/* An octave, give or take what a voice moves meanwhile. */
static bool octave(double low_st, double high_st)
{
    return fabs(high_st - low_st - 12) < 1;
}

/* Whether the candidate `octaves` up leaves less unexplained than that. */
static bool repeats_at(const column *c, double st, double octaves, double unexplained)
{
    for (size_t k = 0; k < c->n; k++)
        if (octave(st, c->found[k].st + 12 - 12 * octaves) && c->found[k].unexplained < unexplained)
            return true;
    return false;
}

static void take(path *p, size_t i, const column *c, int state)
{
    const candidate *taken = &c->found[state];
    bool none = state == UNVOICED;
    p->st[i] = none ? (double)NAN : taken->st;
    p->unexplained[i] = none ? (double)NAN : taken->unexplained;
    p->doubled[i] = !none && repeats_at(c, taken->st, -1, taken->unexplained - log(3));
    p->halved[i] = !none && repeats_at(c, taken->st, 1, log(2.0 / 3));
}

static void search(const pitch_settings *s, size_t n, column *columns, path *p)
{
    const column start = {.n = 0};
    for (size_t i = 0; i < n; i++)
        arrive(s, i ? &columns[i - 1] : &start, &columns[i]);
    int state = n ? cheapest(&columns[n - 1]) : UNVOICED;
    for (size_t i = n; i-- > 0;) {
        take(p, i, &columns[i], state);
        state = columns[i].from[state];
    }
}

/* Whether the path goes on for SURE frames from frame `from` on, as it seldom does in noise. */
static bool goes_on(const path *p, size_t n, size_t from)
{
    static const double most_st = 1;
    if (from + SURE > n)
        return false;
    for (size_t i = from + 1; i < from + SURE; i++)
        if (!(fabs(p->st[i] - p->st[i - 1]) <= most_st))
            return false;
    return true;
}

/* The frame from which on the path goes on within `far_st` of where it was before frame `from`; n
 * where it does not within 200 ms. */
static size_t found_again(const path *p, size_t n, size_t from, double far_st)
{
    enum { LOST = 40 };
    for (size_t i = from; i < n && i < from + LOST; i++)
        if (fabs(p->st[i] - p->st[from - 1]) <= far_st && goes_on(p, n, i))
            return i;
    return n;
}

/* Where the path breaks off in the middle of sound and is found again a few semitones away, the
 * pitch may have glided: looks for candidates there that move so. Whether there were any. */
static bool look_for_glides(correlator *c, const signal *x, double hop_s, size_t n,
                            const pitch_settings *s, const path *p, column *columns)
{
    static const double shares[] = {0.6, 1, 1.4, 1.8}; /* of the mean speed; smooth ones vary */
    static const double least_st = 3, most_st_per_s = 300;
    const size_t beside = 2;
    bool any = false;
    for (size_t i = 1; i < n; i++) {
        if (fabs(p->st[i] - p->st[i - 1]) <= s->far_st || i < SURE || !goes_on(p, n, i - SURE))
            continue;
        size_t end = found_again(p, n, i, s->far_st);
        if (end >= n || fabs(p->st[end] - p->st[i - 1]) < least_st)
            continue;
        double speed = (p->st[end] - p->st[i - 1]) / ((double)(end - i + 1) * hop_s);
        for (size_t k = i > beside ? i - beside : 0; k < end + beside && k < n; k++)
            for (size_t h = 0; h < sizeof shares / sizeof *shares; h++) {
                candidate more[CANDIDATES_MOST];
                double by = fmax(-most_st_per_s, fmin(most_st_per_s, shares[h] * speed));
                size_t m = glide_candidates(c, x, s, (double)k * hop_s, by, more);
                for (size_t j = 0; j < m; j++)
                    candidate_keep(columns[k].found, &columns[k].n, more[j]);
                any = any || m;
            }
        i = end;
    }
    return any;
}

/* Where a soft register goes over into a loud one, the first pulses make a formant ring for longer
 * than the voice has a period. The end of such a ring that begins at frame `from`: the path leaps
 * up farther than a voice does, and within 60 ms is back within `far_st` of where it was, and the
 * sound is never softer meanwhile than on both sides, as it is in a consonant. 0 where there is
 * none. */
static size_t ring_end(const path *p, size_t n, const double *level_db, size_t from, double far_st)
{
    enum { BRIEF = 12 };
    double most_st = 0, least_db = level_db[from];
    for (size_t i = from; i < n && i < from + BRIEF; i++) {
        double by = p->st[i] - p->st[from - 1];
        if (fabs(by) <= far_st)
            return most_st > far_st && goes_on(p, n, i) &&
                           least_db >= fmin(level_db[from - 1], level_db[i])
                       ? i
                       : 0;
        most_st = fmax(most_st, by);
        least_db = fmin(least_db, level_db[i]);
    }
    return 0;
}

/* Takes the candidates of frames from..end - 1 above `most_st`; whether there were any. */
static bool drop_above(column *columns, size_t from, size_t end, double most_st)
{
    bool any = false;
    for (size_t k = from; k < end; k++) {
        column *c = &columns[k];
        size_t kept = 0;
        for (size_t j = 0; j < c->n; j++)
            if (c->found[j].st <= most_st)
                c->found[kept++] = c->found[j];
        any = any || kept < c->n;
        c->n = kept;
    }
    return any;
}

static bool drop_rings(const pitch_settings *s, size_t n, const double *level_db, const path *p,
                       column *columns)
{
    bool any = false;
    for (size_t i = SURE; i < n; i++) {
        if (fabs(p->st[i] - p->st[i - 1]) <= s->far_st || !goes_on(p, n, i - SURE))
            continue;
        size_t end = ring_end(p, n, level_db, i, s->far_st);
        if (end && drop_above(columns, i, end, fmax(p->st[i - 1], p->st[end]) + s->far_st))
            any = true;
    }
    return any;
}

static bool near_folds(const column *c, double folds_st)
{
    for (size_t j = 0; j < c->n; j++)
        if (pitch_of_folds(c->found[j].st, folds_st))
            return true;
    return false;
}

/* The folds' pitch is all there is to find; where it is not seen the sound before it rings on. */
static void hold_to_folds(const pitch_settings *s, column *c, double folds_st)
{
    static const double unexplained = 0.3;
    size_t kept = 0;
    for (size_t j = 0; j < c->n; j++)
        if (pitch_of_folds(c->found[j].st, folds_st))
            c->found[kept++] = c->found[j];
    c->n = kept;
    double none = 1 - s->voiced_at + s->floor;
    candidate_keep(c->found, &c->n,
                   (candidate){folds_st, log(unexplained), log(unexplained / none)});
}

/* Formants and echoes repeat, too, but the folds are the voice: in each stretch in which an EGG
 * repeats, and the microphone at the same pitch in half of the frames, as it does not with hum. */
static void hold_all_to_folds(const pitch_settings *s, size_t n, const double *over_gate_db,
                              column *columns)
{
    static const double most_st = 1; /* from one frame to the next in a stretch */
    const double *st = s->opt_folds_st;
    for (size_t i = 0, end; st && i < n; i = end) {
        size_t loud = 0, with = 0;
        for (end = i; end < n && (end == i || fabs(st[end] - st[end - 1]) < most_st); end++)
            if (over_gate_db[end] > 0) {
                loud++;
                with += near_folds(&columns[end], st[end]);
            }
        for (size_t k = i; k < end && !isnan(st[i]) && 2 * with >= loud; k++)
            if (over_gate_db[k] > 0)
                hold_to_folds(s, &columns[k], st[k]);
    }
}

void path_find(const signal *x, double hop_s, size_t n, const double *over_gate_db,
               const pitch_settings *s, path *p)
{
    correlator *c = correlator_new(x, s);
    column *columns = xmalloc(n, sizeof *columns);
    for (size_t i = 0; i < n; i++)
        columns[i].n =
            over_gate_db[i] > 0 ? correlator_candidates(c, (double)i * hop_s, columns[i].found) : 0;
    hold_all_to_folds(s, n, over_gate_db, columns);
    search(s, n, columns, p);
    if (look_for_glides(c, x, hop_s, n, s, p, columns))
        search(s, n, columns, p);
    if (drop_rings(s, n, over_gate_db, p, columns))
        search(s, n, columns, p);
    free(columns);
    correlator_free(c);
}

/* The end of the stretch that begins at `from` and goes on without a leap of half an octave. */
static size_t stretch_end(const double *st, size_t n, size_t from)
{
    size_t end = from + 1;
    while (end < n && fabs(st[end] - st[end - 1]) < 6)
        end++;
    return end;
}

static double share_of(const unsigned char *flag, size_t from, size_t end)
{
    size_t set = 0;
    for (size_t i = from; i < end; i++)
        set += flag[i];
    return (double)set / (double)(end - from);
}

void path_lift_doubling(path *p, size_t n, size_t brief, size_t longest)
{
    static const double most_between = 0.8, nearly_all = 0.9;
    const double *st = p->st;
    for (size_t i = 0, end, before = 0; i < n; before = end - i, i = end) {
        end = stretch_end(st, n, i);
        if (isnan(st[i]) || end - i > longest)
            continue;
        bool begins = i == 0 || isnan(st[i - 1]), ends = end == n || isnan(st[end]);
        bool dropped = !begins && octave(st[i], st[i - 1]);
        bool rises = !ends && octave(st[end - 1], st[end]);
        if (!(dropped && (rises || ends)) && !(begins && rises))
            continue;
        double halved = dropped && rises ? most_between : nearly_all;
        if (end - i > brief && share_of(p->halved, i, end) < halved)
            continue;
        if (!(dropped && before >= SURE) && !(rises && stretch_end(st, n, end) >= end + SURE))
            continue;
        for (size_t k = i; k < end; k++) {
            p->st[k] += 12;
            p->doubled[k] = 1;
        }
    }
}

/* Past the few frames without a pitch that a crack may leave. */
static size_t past_hole(const double *st, size_t n, size_t from)
{
    enum { HOLE = 4 };
    size_t at = from;
    while (at < n && at < from + HOLE && isnan(st[at]))
        at++;
    return at;
}

void path_lift_tripling(path *p, size_t n, size_t brief)
{
    static const double twelfth_st = 19.02;
    for (size_t i = 0, end; i < n; i = end) {
        end = stretch_end(p->st, n, i);
        size_t next = past_hole(p->st, n, end);
        if (isnan(p->st[i]) || end - i > brief || next == n ||
            !(fabs(p->st[next] - p->st[end - 1] - twelfth_st) < 1) ||
            stretch_end(p->st, n, next) < next + SURE)
            continue;
        for (size_t k = i; k < end; k++) {
            p->st[k] += twelfth_st;
            p->doubled[k] = 1;
        }
    }
}
