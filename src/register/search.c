/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/search.h"

#include "base/array.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

search_settings search_defaults(void)
{
    return (search_settings){.model = model_defaults(),
                             .chain = chain_defaults(),
                             .hazard = hazard_defaults(),
                             .rounds = 12};
}

typedef struct workspace { /* [n] each */
    saying *says;
    double *up, *down, *never, *odds, *before;
} workspace;

static workspace workspace_new(const evidence *ev, const search_settings *s)
{
    workspace w = {.says = xcalloc(ev->n, sizeof *w.says)};
    w.up = array_filled(ev->n, 0);
    w.down = array_filled(ev->n, 0);
    w.never = array_filled(ev->n, 0);
    w.odds = array_filled(ev->n, 0);
    w.before = array_filled(ev->n, 0.5);
    hazard_measure(ev, &s->hazard, w.up, w.down);
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

/* EM from w->p2. */
static bool climb(const evidence *ev, const search_settings *s, workspace *work, world *w)
{
    w->m = (model){.lo = 0, .hi = 0};
    for (int round = 0; round < s->rounds; round++) {
        pin(ev, w->p2);
        memcpy(work->before, w->p2, ev->n * sizeof *w->p2);
        if (!model_fit(&w->m, ev, w->p2, &s->model))
            return false;
        w->where = place_fit(ev, w->p2);
        place_measure(ev, &w->where, work->odds);
        model_emissions(&w->m, ev, work->says);
        chain_inputs in = inputs(work, true);
        chain_run(ev, &in, &s->chain, w->p2);
        if (round > 2 && moved(work->before, w->p2, ev->n) < 0.002)
            break;
    }
    double *aside = array_filled(ev->n, 0);
    chain_inputs with = inputs(work, true), without = inputs(work, false);
    w->gain = chain_run(ev, &with, &s->chain, w->p2) - chain_run(ev, &without, &s->chain, aside);
    free(aside);
    return true;
}

/* M2 above a line over pitch and level; `share` of the frames lie below. */
static void start_by_pitch(const evidence *ev, double share, double slope, double *p2)
{
    double *sorted = xmalloc(ev->n, sizeof *sorted);
    for (size_t i = 0; i < ev->n; i++)
        sorted[i] = ev->pitch_st[i] - slope * ev->level_db[i];
    gsl_sort(sorted, 1, ev->n);
    double line = sorted[(size_t)(share * (double)(ev->n - 1))];
    free(sorted);
    for (size_t i = 0; i < ev->n; i++)
        p2[i] = 1 / (1 + exp(-(ev->pitch_st[i] - slope * ev->level_db[i] - line) / 1.0));
}

/* The chain with leaps alone to go by. */
static void start_by_leaps(const evidence *ev, const search_settings *s, workspace *work,
                           double *p2)
{
    start_by_pitch(ev, 0.5, 0, p2);
    place where = place_fit(ev, p2);
    place_measure(ev, &where, work->odds);
    memset(work->says, 0, ev->n * sizeof *work->says);
    chain_inputs in = inputs(work, true);
    chain_run(ev, &in, &s->chain, p2);
}

typedef struct start {
    const char *name;
    double share, slope;
} start;

bool search_run(const evidence *ev, const search_settings *s, world *best)
{
    static const start starts[] = {{"leaps", 0, 0},
                                   {"pitch, a third below", 0.33, 0.1},
                                   {"pitch, half below", 0.5, 0.1},
                                   {"pitch, two thirds below", 0.67, 0.1}};
    workspace work = workspace_new(ev, s);
    *best = (world){.gain = -(double)INFINITY};
    for (size_t k = 0; k < sizeof starts / sizeof *starts; k++) {
        world w = {.p2 = xmalloc(ev->n, sizeof *w.p2)};
        snprintf(w.start, sizeof w.start, "%s", starts[k].name);
        if (k == 0)
            start_by_leaps(ev, s, &work, w.p2);
        else
            start_by_pitch(ev, starts[k].share, starts[k].slope, w.p2);
        if (climb(ev, s, &work, &w) && w.gain > best->gain) {
            free(best->p2);
            *best = w;
        } else {
            free(w.p2);
        }
    }
    workspace_clear(&work);
    return best->p2 != NULL;
}
