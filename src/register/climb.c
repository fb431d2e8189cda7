/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/climb.h"

#include "base/array.h"
#include "register/standing.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double settled = 0.002; /* mean change of p2 in a round */
/* Nats a second of voice at which the best world stands well before the last round, and the share
 * of them under which others are given up: no flip of 469 singers of the test voices was asserted
 * otherwise. */
static const double stands_well = 0.4, far_behind = 0.1;
/* There worlds whose p2 differ by less are one, but not those in which vowels may change. */
static const double alike = 0.01;
static const double better_times = 1.2, better_nats = 3; /* climb_stands() */

/* `opt_fit` and r[ev->n] are freed with it. */
static climber climber_with(const evidence *ev, const search_settings *s, regression *opt_fit,
                            float (*r)[HARMONICS])
{
    climber c = {.ev = ev, .s = s, .fit = opt_fit, .r = r};
    double **all[] = {&c.up, &c.down, &c.told, &c.odds, &c.up_step, &c.down_step, &c.before};
    for (size_t k = 0; k < sizeof all / sizeof *all; k++)
        *all[k] = array_filled(ev->n, 0);
    return c;
}

climber climber_new(const evidence *ev, const search_settings *s)
{
    return climber_with(ev, s, regress_new(ev, &s->regress),
                        xmalloc(ev->n, sizeof(float[HARMONICS])));
}

void climber_clear(climber *c)
{
    regress_free(c->fit);
    free(c->r);
    free(c->up);
    free(c->down);
    free(c->told);
    free(c->odds);
    free(c->up_step);
    free(c->down_step);
    free(c->before);
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

bool climb_same(const double *a, const double *b, size_t n)
{
    return moved(a, b, n) < settled;
}

static chain_settings chain_of(const climber *c)
{
    chain_settings chain = c->s->chain;
    double voice_s = (double)c->ev->n * c->ev->hop_s;
    chain.drift_sd += c->s->little_drift_sd * fmax(0, 1 - voice_s / c->s->regress.full_s);
    return chain;
}

/* The registers from what the model leaves, c->r: the place and the hazards are fitted to w->p2,
 * and the chain tells it anew. */
static void tell(climber *c, world *w, bool last)
{
    const evidence *ev = c->ev;
    double without = 0;
    chain_settings chain = chain_of(c);
    w->where = place_fit(ev, w->p2, &w->where);
    place_measure(ev, &w->where, c->odds);
    model_emissions(&w->m, ev, c->r, w->says);
    steps_of_harmonics(&w->m, ev, c->r, w->steps);
    steps_measure(ev, w->steps, w->p2, c->up_step, c->down_step);
    hazard_settings hazard = c->s->hazard;
    hazard.leap_most = hazard_leap_most(ev, w->p2, &hazard);
    hazard_measure(ev, c->up_step, c->down_step, &hazard, c->up, c->down, c->told);
    chain_inputs in = {w->says, c->up, c->down, c->odds, c->told};
    w->gain = chain_run(ev, &in, &chain, w->p2, &without);
    w->gain -= without;
    if (last && w->tidy)
        standing_tidy(ev, w);
}

/* A round of EM; the world fails where it determines no model or the search is stopped. */
static void climb(climber *c, world *w, bool last)
{
    size_t n = c->ev->n;
    memcpy(c->before, w->p2, n * sizeof *c->before);
    pin(c->ev, w->p2);
    w->standing = -1;
    if (effort_stopped(c->s->opt_effort) || !regress_fit(c->fit, w->stiff, &w->m, w->p2, c->r))
        return;
    tell(c, w, last);
    w->standing = standing_of(c->ev, w, NULL);
    w->rests = moved(c->before, w->p2, n) < settled;
}

double climb_stands(const world *w)
{
    bool has_to_stand_better = w->standing >= 0 && (w->stiff || w->tidy || w->hardly);
    return has_to_stand_better ? fmax(0, (w->standing - better_nats) / better_times) : w->standing;
}

static int by_standing(const void *a, const void *b)
{
    double x = climb_stands(a), y = climb_stands(b);
    return (x < y) - (x > y);
}

void climb_sort(world *worlds, size_t n)
{
    qsort(worlds, n, sizeof *worlds, by_standing);
}

static double best_of(const world *worlds, size_t n)
{
    double best = 0;
    for (size_t k = 0; k < n; k++)
        best = fmax(best, worlds[k].standing);
    return best;
}

/* Worlds whose registers are nearer than `apart` go on as one. */
static void merge(const climber *c, double apart, world *worlds, size_t n)
{
    for (size_t k = 1; k < n; k++)
        for (size_t j = 0; j < k && worlds[k].standing >= 0; j++)
            if (worlds[j].standing >= 0 && moved(worlds[j].p2, worlds[k].p2, c->ev->n) < apart) {
                worlds[j].stiff = worlds[j].stiff && worlds[k].stiff;
                worlds[j].twins += 1 + worlds[k].twins;
                worlds[k].standing = -1;
            }
}

/* Worlds that stand far behind the best are given up. */
static void give_up(double best, world *worlds, size_t n)
{
    for (size_t k = 0; k < n; k++)
        if (worlds[k].standing < far_behind * best)
            worlds[k].standing = -1;
}

void climb_all(climber *c, int rounds, world *worlds, size_t n)
{
    for (int round = 1; round <= rounds; round++) {
        for (size_t k = 0; k < n; k++)
            if (worlds[k].standing >= 0 && (!worlds[k].rests || worlds[k].tidy))
                climb(c, &worlds[k], round == rounds);
        double best = best_of(worlds, n);
        bool well = best >= stands_well * (double)c->ev->n * c->ev->hop_s;
        merge(c, well && !worlds[0].m.mouth.may_change ? alike : settled, worlds, n);
        if (well && round < rounds)
            give_up(best, worlds, n);
        effort_add(c->s->opt_effort, (double)(c->ev->n * n));
    }
    climb_sort(worlds, n);
}

void climb_on(climber *c, world *w)
{
    size_t n = c->ev->n;
    world now = world_new(n);
    int round = c->s->first_rounds;
    world_copy(w, n, &now);
    for (; round < c->s->rounds && now.standing >= 0 && !now.rests; round++) {
        climb(c, &now, true);
        effort_add(c->s->opt_effort, (double)n);
        if (now.standing > w->standing)
            world_copy(&now, n, w);
    }
    effort_add(c->s->opt_effort, (double)n * (c->s->rounds - round));
    world_clear(&now);
}

bool climb_end(climber *c, world *w)
{
    w->m = (model){.mouth = w->m.mouth};
    w->m.mouth.may_change = w->m.mouth.n > 0; /* none begin here */
    return w->standing >= 0 && !effort_stopped(c->s->opt_effort) &&
           regress_fit(c->fit, false, &w->m, w->p2, c->r);
}

void climb_all_frames(const evidence *ev, const search_settings *s, const size_t *stands_for,
                      world *w)
{
    world all = world_new(ev->n);
    all.tidy = w->tidy;
    all.m = w->m;
    all.where = w->where;
    for (size_t i = 0; i < ev->n; i++)
        all.p2[i] = w->p2[stands_for[i]];
    pin(ev, all.p2);
    world_clear(w);
    climber c = climber_with(ev, s, NULL, xmalloc(ev->n, sizeof(float[HARMONICS])));
    regress_apply(ev, &all.m, all.p2, c.r);
    tell(&c, &all, true);
    climber_clear(&c);
    effort_add(s->opt_effort, (double)ev->n);
    *w = all;
}
