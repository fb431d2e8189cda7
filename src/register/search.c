/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/search.h"

#include "base/array.h"
#include "register/standing.h"
#include "register/starts.h"
#include "register/thin.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double settled = 0.002; /* mean change of p2 in a round */
/* A tidied world has to stand better than the best other by so much. */
static const double tidy_times = 1.2, tidy_nats = 3;

search_settings search_defaults(void)
{
    return (search_settings){.regress = regress_defaults(),
                             .chain = chain_defaults(),
                             .hazard = hazard_defaults(),
                             .first_rounds = 3,
                             .kept = 2,
                             .rounds = 12,
                             .tidied = 3,
                             .tidied_rounds = 2,
                             .light = 0.2,
                             .every = 4};
}

typedef struct workspace { /* of one evidence; [n] each */
    regression *fit;
    float (*r)[HARMONICS];
    double *up, *down, *odds, *up_step, *down_step;
} workspace;

/* `opt_fit` and r[ev->n], which are freed with it. */
static workspace workspace_new(const evidence *ev, regression *opt_fit, float (*r)[HARMONICS])
{
    workspace w = {.fit = opt_fit, .r = r};
    double **all[] = {&w.up, &w.down, &w.odds, &w.up_step, &w.down_step};
    for (size_t k = 0; k < sizeof all / sizeof *all; k++)
        *all[k] = array_filled(ev->n, 0);
    return w;
}

static workspace workspace_for(const evidence *ev, const search_settings *s)
{
    return workspace_new(ev, regress_new(ev, &s->regress),
                         xmalloc(ev->n, sizeof(float[HARMONICS])));
}

static void workspace_clear(workspace *w)
{
    regress_free(w->fit);
    free(w->r);
    free(w->up);
    free(w->down);
    free(w->odds);
    free(w->up_step);
    free(w->down_step);
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

/* The registers from what the model leaves, work->r: the place and the hazards are fitted to w->p2,
 * and the chain tells it anew. */
static void tell(const evidence *ev, const search_settings *s, workspace *work, world *w, bool last)
{
    double without = 0;
    chain_settings chain = s->chain;
    if (w->light)
        chain.temper *= s->light;
    w->where = place_fit(ev, w->p2, &w->where);
    place_measure(ev, &w->where, work->odds);
    model_emissions(&w->m, ev, work->r, w->says);
    steps_of_harmonics(&w->m, ev, work->r, w->steps);
    steps_measure(ev, w->steps, w->p2, work->up_step, work->down_step);
    hazard_measure(ev, work->up_step, work->down_step, &s->hazard, work->up, work->down);
    chain_inputs in = {w->says, work->up, work->down, work->odds};
    w->gain = chain_run(ev, &in, &chain, w->p2, last ? &without : NULL);
    w->gain -= without;
    if (last && w->tidy)
        standing_tidy(ev, w);
}

/* EM from w->p2, some rounds of it, at least one. A search that is stopped determines nothing. */
static bool climb(const evidence *ev, const search_settings *s, int rounds, workspace *work,
                  world *w)
{
    for (int k = 1; k <= rounds; k++) {
        pin(ev, w->p2);
        if (effort_stopped(s->opt_effort) || !regress_fit(work->fit, &w->m, w->p2, work->r))
            return false;
        tell(ev, s, work, w, k == rounds);
    }
    return true;
}

/* Best first. */
static int by_standing(const void *a, const void *b)
{
    const world *x = a, *y = b;
    return (x->standing < y->standing) - (x->standing > y->standing);
}

/* Worlds that determine no model come last, and stay there. */
static void climb_all(const evidence *ev, const search_settings *s, int rounds, workspace *work,
                      world *worlds, size_t n)
{
    for (size_t k = 0; k < n; k++) {
        worlds[k].standing = worlds[k].standing >= 0 && climb(ev, s, rounds, work, &worlds[k])
                                 ? standing_of(ev, &worlds[k])
                                 : -1;
        effort_add(s->opt_effort, (double)ev->n * rounds);
    }
    qsort(worlds, n, sizeof *worlds, by_standing);
}

typedef struct start {
    double share; /* of the frames below the line in pitch and level */
    bool by_leaps, light;
} start;

static void start_all(const evidence *ev, const search_settings *s, const start *starts, size_t n,
                      world *worlds)
{
    for (size_t k = 0; k < n; k++) {
        const start *from = &starts[k];
        worlds[k] = world_new(ev->n);
        worlds[k].light = from->light;
        if (from->by_leaps)
            start_by_leaps(ev, from->share, &s->chain, &s->hazard, worlds[k].p2);
        else
            start_by_pitch(ev, from->share, worlds[k].p2);
    }
}

static void clear_all(world *worlds, size_t n)
{
    for (size_t k = 0; k < n; k++)
        world_clear(&worlds[k]);
}

/* The registers of frames lo..hi - 1, a take, heard by itself; the less its changes stand up, the
 * nearer to 0.5. */
static void hear_take(const evidence *ev, const search_settings *s, size_t lo, size_t hi,
                      double *p2)
{
    static const start starts[] = {
        {.share = 0.5, .by_leaps = true}, {.share = 0.4}, {.share = 0.6}};
    enum { N = sizeof starts / sizeof *starts };
    world worlds[N];
    evidence take = evidence_part(ev, lo, hi);
    workspace work = workspace_for(&take, s);
    start_all(&take, s, starts, N, worlds);
    climb_all(&take, s, s->first_rounds, &work, worlds, N);
    double sure = 1 - exp(-fmax(0, worlds[0].standing));
    for (size_t i = lo; i < hi; i++)
        p2[i] = 0.5 + sure * (worlds[0].p2[i - lo] - 0.5);
    clear_all(worlds, N);
    workspace_clear(&work);
    free(take.before);
}

/* Takes that only tempt, with a portamento or a vowel that changes, lead the worlds of all takes
 * astray, but not that of a take with flips. Returns whether there are several takes. */
static bool start_by_takes(const evidence *ev, const search_settings *s, double *p2)
{
    bool several = ev->take[0] != ev->take[ev->n - 1];
    for (size_t lo = 0, hi; several && lo < ev->n; lo = hi) {
        for (hi = lo; hi < ev->n && ev->take[hi] == ev->take[lo];)
            hi++;
        hear_take(ev, s, lo, hi, p2);
    }
    return several;
}

/* Climbs on, and keeps what stood up best on the way: later rounds of EM may explain the harmonics
 * better by something else than the register. */
static void climb_on(const evidence *ev, const search_settings *s, workspace *work, world *w)
{
    world now = world_new(ev->n);
    double by = (double)INFINITY, *before = xmalloc(ev->n, sizeof *before);
    int round = s->first_rounds;
    world_copy(w, ev->n, &now);
    for (; round < s->rounds && by >= settled; round++) {
        memcpy(before, now.p2, ev->n * sizeof *before);
        if (!climb(ev, s, 1, work, &now))
            break;
        effort_add(s->opt_effort, (double)ev->n);
        by = moved(before, now.p2, ev->n);
        now.standing = standing_of(ev, &now);
        if (now.standing > w->standing)
            world_copy(&now, ev->n, w);
    }
    effort_add(s->opt_effort, (double)ev->n * (s->rounds - round));
    free(before);
    world_clear(&now);
}

static bool is_known(const world *w, const world *others, size_t n_others, size_t n)
{
    for (size_t k = 0; k < n_others; k++)
        if (moved(w->p2, others[k].p2, n) < settled)
            return true;
    return false;
}

/* Tidied copies of some of worlds[n], best first; returns how many, since those that come out alike
 * are one. The best climbs on if it stands better than worlds[0]: else it is never believed in the
 * end. */
static size_t tidy_some(const evidence *ev, const search_settings *s, workspace *work,
                        const world *worlds, size_t n, world *tidied)
{
    size_t n_tidied = 0;
    for (size_t k = 0; k < n && worlds[k].standing >= 0; k++) {
        if (k >= s->tidied && !worlds[k].always_tidied)
            continue;
        world *w = &tidied[n_tidied];
        *w = world_new(ev->n);
        world_copy(&worlds[k], ev->n, w);
        w->tidy = true;
        standing_tidy(ev, w);
        if (is_known(w, tidied, n_tidied, ev->n))
            world_clear(w);
        else
            n_tidied++;
    }
    climb_all(ev, s, s->tidied_rounds, work, tidied, n_tidied);
    effort_add(s->opt_effort,
               (double)ev->n * s->tidied_rounds * (double)(s->tidied + 1 - n_tidied));
    if (n_tidied && tidied[0].standing > worlds[0].standing)
        climb_on(ev, s, work, &tidied[0]);
    else
        effort_add(s->opt_effort, (double)ev->n * (s->rounds - s->first_rounds));
    return n_tidied;
}

/* Rounds of EM at most times frames: three worlds for each of several takes, n for all, those kept,
 * and at the end one with all frames. */
static double rounds_of(const evidence *few, const search_settings *s, size_t n)
{
    size_t alone = few->take[0] != few->take[few->n - 1] ? 3 : 0;
    size_t first = (size_t)s->first_rounds * (alone + n);
    size_t kept = (size_t)(s->rounds - s->first_rounds) * (s->kept + 1);
    size_t tidied = (size_t)s->tidied_rounds * (s->tidied + 1);
    return (double)few->n * (double)(first + kept + tidied + s->every);
}

static bool search_thin(const evidence *ev, const search_settings *s, world *best)
{
    static const start starts[] = {{.share = 0.5, .by_leaps = true},
                                   {.share = 0.7, .by_leaps = true},
                                   {.share = 0.6, .by_leaps = true, .light = true},
                                   {.share = 0.25},
                                   {.share = 0.4},
                                   {.share = 0.5},
                                   {.share = 0.6},
                                   {.share = 0.75}};
    enum { N = sizeof starts / sizeof *starts };
    if (!ev->n)
        return false;
    workspace work = workspace_for(ev, s);
    world worlds[N + 2], tidied[N + 2];
    size_t n = N;
    effort_begin(s->opt_effort, rounds_of(ev, s, N + 1));
    start_all(ev, s, starts, N, worlds);
    worlds[0].always_tidied = true;
    worlds[N] = world_new(ev->n);
    worlds[N + 1] = world_new(ev->n);
    if (s->opt_known && s->opt_known->m.hi > s->opt_known->m.lo)
        start_by_known(ev, s->opt_known, &s->chain, &s->hazard, worlds[n++].p2);
    n += start_by_takes(ev, s, worlds[n].p2);
    climb_all(ev, s, s->first_rounds, &work, worlds, n);
    size_t n_tidied = tidy_some(ev, s, &work, worlds, n, tidied);
    for (size_t k = 0; k < s->kept && worlds[k].standing >= 0; k++)
        climb_on(ev, s, &work, &worlds[k]);
    qsort(worlds, s->kept, sizeof *worlds, by_standing);
    world *first = &worlds[0];
    if (n_tidied && tidied[0].standing > tidy_times * worlds[0].standing + tidy_nats)
        first = &tidied[0];
    *best = *first;
    *first = (world){.p2 = NULL};
    clear_all(worlds, N + 2);
    clear_all(tidied, n_tidied);
    workspace_clear(&work);
    return best->standing >= 0;
}

/* The world of every frame from that of one in a few: the registers carry over, and what goes with
 * them is fitted anew. What the fit takes is given back before the chain runs, for long voices. */
static bool fill_in(const evidence *ev, const search_settings *s, const size_t *stands_for,
                    world *w)
{
    world all = world_new(ev->n);
    all.tidy = w->tidy;
    all.light = w->light;
    for (size_t i = 0; i < ev->n; i++)
        all.p2[i] = w->p2[stands_for[i]];
    world_clear(w);
    pin(ev, all.p2);
    regression *fit = regress_new(ev, &s->regress);
    float(*r)[HARMONICS] = xmalloc(ev->n, sizeof *r);
    bool good = !effort_stopped(s->opt_effort) && regress_fit(fit, &all.m, all.p2, r);
    regress_free(fit);
    if (good) {
        workspace work = workspace_new(ev, NULL, r);
        tell(ev, s, &work, &all, true);
        workspace_clear(&work);
    } else {
        free(r);
    }
    effort_add(s->opt_effort, (double)ev->n);
    *w = all;
    return good;
}

bool search_run(const evidence *ev, const search_settings *s, world *best)
{
    size_t *stands_for = xmalloc(ev->n, sizeof *stands_for);
    evidence *few = thin_evidence(ev, s->every, stands_for);
    bool good = search_thin(few, s, best);
    evidence_free(few);
    good = good && fill_in(ev, s, stands_for, best);
    free(stands_for);
    return good;
}
