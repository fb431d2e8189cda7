/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/search.h"

#include "base/array.h"
#include "register/turns.h"
#include "register/steps.h"
#include "register/thin.h"
#include "register/trust.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double settled = 0.002;    /* mean change of p2 in a round */
static const double start_slope = 0.15; /* semitones a dB: louder, the flip comes higher */
static const double start_gap_st = 2;   /* between the lines going up and coming down */

search_settings search_defaults(void)
{
    return (search_settings){.regress = regress_defaults(),
                             .chain = chain_defaults(),
                             .hazard = hazard_defaults(),
                             .rounds = 12,
                             .every = 4,
                             .full_rounds = 1};
}

typedef struct workspace { /* [n] each */
    saying *says;
    double *up, *down, *never, *odds, *before, *up_step, *down_step;
} workspace;

static workspace workspace_new(const evidence *ev)
{
    workspace w = {.says = xcalloc(ev->n, sizeof *w.says)};
    double **all[] = {&w.up, &w.down, &w.never, &w.odds, &w.before, &w.up_step, &w.down_step};
    for (size_t k = 0; k < sizeof all / sizeof *all; k++)
        *all[k] = array_filled(ev->n, 0);
    return w;
}

static void workspace_clear(workspace *w)
{
    free(w->says);
    free(w->up);
    free(w->down);
    free(w->never);
    free(w->odds);
    free(w->before);
    free(w->up_step);
    free(w->down_step);
}

void world_clear(world *w)
{
    free(w->p2);
    free(w->says);
    *w = (world){.p2 = NULL};
}

static chain_inputs inputs(const workspace *w, bool flips)
{
    return (chain_inputs){.says = w->says,
                          .up = flips ? w->up : w->never,
                          .down = flips ? w->down : w->never,
                          .place = w->odds};
}

static void pin(const evidence *ev, double *p2)
{
    for (size_t i = 0; i < ev->n; i++)
        if (ev->declared[i])
            p2[i] = ev->declared[i] == DECLARED_M2;
}

static double moved(const double *a, const double *b, size_t n)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += fabs(a[i] - b[i]);
    return sum / (double)n;
}

/* Fits everything to w->p2: the harmonics, the place, the hazards. */
static bool fit_world(const evidence *ev, const search_settings *s, workspace *work, world *w)
{
    if (!regress_fit(&w->m, ev, w->p2, &s->regress))
        return false;
    w->where = place_fit(ev, w->p2);
    place_measure(ev, &w->where, work->odds);
    model_emissions(&w->m, ev, work->says);
    steps_measure(&w->m, ev, w->p2, work->up_step, work->down_step);
    hazard_measure(ev, work->up_step, work->down_step, &s->hazard, work->up, work->down);
    return true;
}

/* EM from w->p2. */
static bool climb(const evidence *ev, const search_settings *s, workspace *work, world *w)
{
    w->m = (model){.hi = 0};
    for (int round = 0; round < s->rounds; round++) {
        pin(ev, w->p2);
        memcpy(work->before, w->p2, ev->n * sizeof *w->p2);
        if (!fit_world(ev, s, work, w))
            return false;
        chain_inputs in = inputs(work, true);
        chain_run(ev, &in, &s->chain, w->p2);
        if (round > 2 && moved(work->before, w->p2, ev->n) < settled)
            break;
    }
    chain_inputs without = inputs(work, false), with = inputs(work, true);
    w->gain = -chain_run(ev, &without, &s->chain, work->before);
    w->gain += chain_run(ev, &with, &s->chain, w->p2);
    memcpy(w->says, work->says, ev->n * sizeof *w->says);
    return true;
}

/* M2 from where the voice rises over a line in pitch and level to where it falls under a lower one:
 * flips come later going up than coming down. `share` of the frames lie below the middle. */
static void start_by_pitch(const evidence *ev, double share, double *p2)
{
    double *height = xmalloc(ev->n, sizeof *height), *sorted = xmalloc(ev->n, sizeof *sorted);
    for (size_t i = 0; i < ev->n; i++)
        sorted[i] = height[i] = ev->pitch_st[i] - start_slope * ev->level_db[i];
    gsl_sort(sorted, 1, ev->n);
    double line = sorted[(size_t)(share * (double)(ev->n - 1))];
    bool m2 = false;
    for (size_t i = 0; i < ev->n; i++) {
        double at = isinf(ev->gap_s[i]) ? 0 : (m2 ? -start_gap_st : start_gap_st) / 2;
        m2 = height[i] > line + at;
        double sure = fmin(1, fabs(height[i] - line) / 3);
        p2[i] = m2 ? 0.7 + 0.25 * sure : 0.3 - 0.25 * sure;
    }
    free(height);
    free(sorted);
}

/* The chain with leaps alone to go by. */
static void start_by_leaps(const evidence *ev, const search_settings *s, workspace *work,
                           double *p2)
{
    start_by_pitch(ev, 0.5, p2);
    place where = place_fit(ev, p2);
    place_measure(ev, &where, work->odds);
    memset(work->says, 0, ev->n * sizeof *work->says);
    memset(work->up_step, 0, ev->n * sizeof *work->up_step);
    memset(work->down_step, 0, ev->n * sizeof *work->down_step);
    hazard_measure(ev, work->up_step, work->down_step, &s->hazard, work->up, work->down);
    chain_inputs in = inputs(work, true);
    chain_run(ev, &in, &s->chain, p2);
}

/* How well the changes of a world stand up each by itself: -log of the probability that none is a
 * flip. The chain's own likelihood is surest of worlds in which vowels or leaps are registers. */
static double standing(const evidence *ev, const world *w)
{
    double *p2 = xmalloc(ev->n, sizeof *p2), sum = 0;
    memcpy(p2, w->p2, ev->n * sizeof *p2);
    turns c = turns_find(ev, p2);
    double(*cues)[CUES] = xmalloc(c.n, sizeof *cues);
    cues_of of = {ev, &w->m, &w->where, w->says, p2, w->gain};
    cues_measure(&of, &c, cues);
    for (size_t k = 0; k < c.n; k++)
        sum -= log1p(-fmin(trust_of(cues[k]), 1 - 1e-9));
    free(cues);
    turns_clear(&c);
    free(p2);
    return sum;
}

static bool search_thin(const evidence *ev, const search_settings *s, world *best)
{
    static const double shares[] = {0 /* by leaps */, 0.25, 0.4, 0.5, 0.6, 0.75};
    workspace work = workspace_new(ev);
    *best = (world){.p2 = NULL};
    double most = -1;
    for (size_t k = 0; k < sizeof shares / sizeof *shares; k++) {
        world w = {.p2 = xmalloc(ev->n, sizeof *w.p2), .says = xmalloc(ev->n, sizeof *w.says)};
        if (shares[k] > 0)
            start_by_pitch(ev, shares[k], w.p2);
        else
            start_by_leaps(ev, s, &work, w.p2);
        double now = climb(ev, s, &work, &w) ? standing(ev, &w) : -1;
        if (now > most) {
            most = now;
            world_clear(best);
            *best = w;
        } else {
            world_clear(&w);
        }
    }
    workspace_clear(&work);
    return best->p2 != NULL;
}

/* The world of every frame from that of one in a few: the registers carry over, and what goes with
 * them is fitted anew. */
static bool fill_in(const evidence *ev, const search_settings *s, const size_t *stands_for,
                    world *w)
{
    world all = {.p2 = xmalloc(ev->n, sizeof *all.p2), .says = xmalloc(ev->n, sizeof *all.says)};
    for (size_t i = 0; i < ev->n; i++)
        all.p2[i] = w->p2[stands_for[i]];
    world_clear(w);
    workspace work = workspace_new(ev);
    search_settings few = *s;
    few.rounds = s->full_rounds;
    bool good = climb(ev, &few, &work, &all);
    workspace_clear(&work);
    *w = all;
    return good;
}

bool search_run(const evidence *ev, const search_settings *s, world *best)
{
    size_t *stands_for = xmalloc(ev->n, sizeof *stands_for);
    evidence *few = thin_evidence(ev, s->every, stands_for);
    bool good = search_thin(few, s, best) && fill_in(ev, s, stands_for, best);
    evidence_free(few);
    free(stands_for);
    return good;
}
