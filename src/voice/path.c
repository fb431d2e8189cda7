/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/path.h"

#include "base/array.h"
#include "voice/candidates.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>

enum { STATES = CANDIDATES_MOST + 1, UNVOICED = CANDIDATES_MOST };

typedef struct column { /* one frame of the search */
    size_t n;
    candidate found[CANDIDATES_MOST];
    double total[STATES];
    unsigned char from[STATES];
} column;

static double leap(const pitch_settings *s, double from_st, double to_st)
{
    double by = fabs(to_st - from_st), beyond = by - s->leap_free_st;
    if (beyond <= 0)
        return 0;
    double cost = s->leap_cost * beyond;
    return (cost < s->leap_cap ? cost : s->leap_cap) + (by > s->far_st ? s->far_cost : 0);
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

void path_find(const signal *x, double hop_s, size_t n, const double *over_gate_db,
               const pitch_settings *s, path *p)
{
    correlator *c = correlator_new(x, s);
    column *columns = xmalloc(n, sizeof *columns);
    const column start = {.n = 0};
    for (size_t i = 0; i < n; i++) {
        column *now = &columns[i];
        const column *before = i ? &columns[i - 1] : &start;
        now->n = over_gate_db[i] > 0 ? correlator_candidates(c, (double)i * hop_s, now->found) : 0;
        for (int k = 0; k < (int)now->n; k++)
            arrive(s, before, now, k);
        arrive(s, before, now, UNVOICED);
    }
    int state = n ? cheapest(&columns[n - 1]) : UNVOICED;
    for (size_t i = n; i-- > 0;) {
        take(p, i, &columns[i], state);
        state = columns[i].from[state];
    }
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

static bool mostly(const unsigned char *flag, size_t from, size_t end)
{
    size_t set = 0;
    for (size_t i = from; i < end; i++)
        set += flag[i];
    return 2 * set > end - from;
}

void path_lift_doubling(path *p, size_t n, size_t brief, size_t longest)
{
    const double *st = p->st;
    for (size_t i = 0, end; i < n; i = end) {
        end = stretch_end(st, n, i);
        if (isnan(st[i]) || end - i > longest || (end - i > brief && !mostly(p->halved, i, end)))
            continue;
        bool begins = i == 0 || isnan(st[i - 1]), ends = end == n || isnan(st[end]);
        bool dropped = !begins && octave(st[i], st[i - 1]);
        bool rises = !ends && octave(st[end - 1], st[end]);
        if (!(dropped && (rises || ends)) && !(begins && rises))
            continue;
        for (size_t k = i; k < end; k++) {
            p->st[k] += 12;
            p->doubled[k] = 1;
        }
    }
}
