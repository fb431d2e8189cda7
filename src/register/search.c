/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/search.h"

#include "base/array.h"
#include "register/climb.h"
#include "register/standing.h"
#include "register/starts.h"
#include "register/takes.h"
#include "register/thin.h"
#include "register/vowels.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

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
                             .little_drift_sd = 0.1,
                             .every = 4};
}

typedef struct start {
    double share; /* of the frames below the line in pitch and level */
    bool by_leaps, stiff;
} start;

enum {
    STARTS = 8,
    STARTS_WITH_VOWELS,                          /* one more */
    WORLDS = STARTS + STARTS_WITH_VOWELS + 2 * 2 /* with what is known, and what takes say */
};
static const start all_starts[STARTS_WITH_VOWELS] = {{.share = 0.5, .by_leaps = true},
                                                     {.share = 0.7, .by_leaps = true},
                                                     {.share = 0.4},
                                                     {.share = 0.5},
                                                     {.share = 0.6},
                                                     {.share = 0.4, .stiff = true},
                                                     {.share = 0.5, .stiff = true},
                                                     {.share = 0.6, .stiff = true},
                                                     {.share = 0.3}};

typedef struct starts { /* from several, and from other guesses at p2 */
    const start *items;
    size_t n;
    const double *others[2];
    size_t n_others;
} starts;

typedef enum vowel_change { ONE_VOWEL, VOWELS_HARDLY_CHANGE, VOWELS_CHANGE } vowel_change;

static void begin_all(const climber *c, const starts *from, vowel_change change, world *worlds)
{
    for (size_t k = 0; k < from->n + from->n_others; k++) {
        world *w = &worlds[k];
        const start *by = k < from->n ? &from->items[k] : NULL;
        *w = world_new(c->ev->n);
        w->m.mouth.may_change = change != ONE_VOWEL;
        w->hardly = change == VOWELS_HARDLY_CHANGE;
        w->stiff = by && by->stiff;
        if (!by)
            memcpy(w->p2, from->others[k - from->n], c->ev->n * sizeof *w->p2);
        else if (by->by_leaps)
            start_by_leaps(c->ev, by->share, &c->s->chain, &c->s->hazard, w->p2);
        else
            start_by_pitch(c->ev, by->share, w->p2);
    }
}

/* The first rounds from all starts. Where the best leaves what vowels do that change, as many
 * worlds more in which they may, and one, since two thirds of a song may be high. Returns how many
 * there are, best first. */
static size_t climb_first(climber *c, const starts *from, world *worlds, vowel_change *change)
{
    starts with_vowels = *from;
    with_vowels.n = STARTS_WITH_VOWELS;
    size_t n = from->n + from->n_others, n_more = with_vowels.n + from->n_others;
    begin_all(c, from, ONE_VOWEL, worlds);
    climb_all(c, c->s->first_rounds, worlds, n);
    double db = regress_vowels(c->fit, &worlds[0].m, worlds[0].p2, c->r);
    *change = db >= VOWELS_SURE_DB    ? VOWELS_CHANGE
              : db >= VOWELS_LEAST_DB ? VOWELS_HARDLY_CHANGE
                                      : ONE_VOWEL;
    if (*change == ONE_VOWEL) {
        effort_add(c->s->opt_effort, (double)(c->ev->n * n_more) * c->s->first_rounds);
        return n;
    }
    begin_all(c, &with_vowels, *change, worlds + n);
    climb_all(c, c->s->first_rounds, worlds + n, n_more);
    climb_sort(worlds, n + n_more);
    return n + n_more;
}

static void clear_all(world *worlds, size_t n)
{
    for (size_t k = 0; k < n; k++)
        world_clear(&worlds[k]);
}

static bool is_known(const world *w, const world *others, size_t n_others, size_t n)
{
    for (size_t k = 0; k < n_others; k++)
        if (climb_same(w->p2, others[k].p2, n))
            return true;
    return false;
}

static bool have_vowels(const world *worlds, size_t n)
{
    bool any = false;
    for (size_t k = 0; k < n; k++)
        any = any || (worlds[k].standing >= 0 && worlds[k].m.mouth.may_change && !worlds[k].hardly);
    return any;
}

/* Tidied copies of some of worlds[n], best first; returns how many, since those that come out alike
 * are one. Where vowels change only worlds in which they may are tidied: of the others' changes
 * those would be left that come with a consonant or a step of the melody. The best climbs on if it
 * stands better than worlds[0]: else it is never believed in the end. */
static size_t tidy_some(climber *c, const world *worlds, size_t n, world *tidied)
{
    const search_settings *s = c->s;
    size_t n_tidied = 0, frames = c->ev->n;
    bool vowels_change = have_vowels(worlds, n);
    for (size_t k = 0, before = 0; k < n && before < s->tidied && worlds[k].standing >= 0; k++) {
        if (vowels_change && !worlds[k].m.mouth.may_change)
            continue;
        before += 1 + worlds[k].twins;
        world *w = &tidied[n_tidied];
        *w = world_new(frames);
        world_copy(&worlds[k], frames, w);
        w->tidy = true;
        standing_tidy(c->ev, w);
        if (is_known(w, tidied, n_tidied, frames))
            world_clear(w);
        else
            n_tidied++;
    }
    climb_all(c, s->tidied_rounds, tidied, n_tidied);
    effort_add(s->opt_effort, (double)((s->tidied - n_tidied) * frames) * s->tidied_rounds);
    if (n_tidied && tidied[0].standing > climb_stands(&worlds[0]))
        climb_on(c, &tidied[0]);
    else
        effort_add(s->opt_effort, (double)frames * (s->rounds - s->first_rounds));
    return n_tidied;
}

/* Where vowels change, a yodel's go with its registers, and the best world may take both for one
 * step: a slide on one vowel then changes by half of it only, and its flip is passed over, though
 * heard by itself it was plain. So there such takes are put back to what they were by themselves,
 * a model is begun anew in which vowels may change, and the better world is left in *best. */
static void mend_by_takes(climber *c, const heard_takes *takes, world *best)
{
    const evidence *ev = c->ev;
    bool *mended = xcalloc(ev->take[ev->n - 1] + 1, sizeof *mended);
    if (!takes_stood_better(ev, takes, best, mended)) {
        effort_add(c->s->opt_effort, (double)ev->n * c->s->rounds);
        free(mended);
        return;
    }
    world w = world_new(ev->n);
    memcpy(w.p2, best->p2, ev->n * sizeof *w.p2);
    w.m.mouth.may_change = true;
    for (int round = 0; round < c->s->first_rounds; round++) {
        for (size_t i = 0; i < ev->n; i++)
            if (mended[ev->take[i]])
                w.p2[i] = takes->p2[i];
        w.standing = 0;
        w.rests = false;
        climb_all(c, 1, &w, 1);
    }
    climb_on(c, &w);
    if (w.standing > climb_stands(best))
        world_copy(&w, ev->n, best);
    world_clear(&w);
    free(mended);
}

/* Of worlds[n], best first, and tidied ones the best, the most promising having climbed on. */
static world choose(climber *c, world *worlds, size_t n)
{
    const search_settings *s = c->s;
    world tidied[WORLDS];
    size_t n_tidied = tidy_some(c, worlds, n, tidied), kept = 0;
    for (size_t of = 0; of < s->kept && worlds[kept].standing >= 0; kept++) {
        of += 1 + worlds[kept].twins;
        climb_on(c, &worlds[kept]);
    }
    effort_add(s->opt_effort,
               (double)((s->kept - kept) * c->ev->n) * (s->rounds - s->first_rounds));
    climb_sort(worlds, kept);
    world *first = &worlds[0];
    if (n_tidied && climb_stands(&tidied[0]) > climb_stands(&worlds[0]))
        first = &tidied[0];
    world best = *first;
    *first = (world){.p2 = NULL};
    clear_all(worlds, n);
    clear_all(tidied, n_tidied);
    return best;
}

/* Rounds of EM at most times frames: those of each of several takes, of all takes from n starts and
 * from what the takes say, those kept, a mended one, and at the end two with all frames. */
static double rounds_of(const evidence *few, const search_settings *s, size_t n)
{
    size_t takes = evidence_of_takes(few) ? 1 : 0;
    size_t more = STARTS_WITH_VOWELS - STARTS;
    size_t first = (size_t)s->first_rounds * (2 * (n + takes) + more + takes);
    size_t kept = (size_t)(s->rounds - s->first_rounds) * (s->kept + 1);
    size_t tidied = (size_t)s->tidied_rounds * s->tidied, mended = (size_t)s->rounds * takes;
    return (double)few->n * (double)(first + kept + tidied + mended + 2 * s->every);
}

/* The best world, its model begun anew at the end, and, where vowels change, as it was. */
static bool search_thin(const evidence *ev, const search_settings *s, world *best, world *as_it_was)
{
    if (!ev->n)
        return false;
    climber c = climber_new(ev, s);
    world worlds[WORLDS];
    starts from = {all_starts, STARTS, {NULL}, 0};
    double *guess[2] = {xmalloc(ev->n, sizeof **guess), xmalloc(ev->n, sizeof **guess)};
    if (s->opt_known && s->opt_known->m.hi > s->opt_known->m.lo) {
        start_by_known(ev, s->opt_known, &s->chain, &s->hazard, guess[0]);
        from.others[from.n_others++] = guess[0];
    }
    effort_begin(s->opt_effort, rounds_of(ev, s, STARTS + from.n_others));
    heard_takes takes = takes_hear(ev, s);
    if (takes.p2) {
        start_by_takes(ev, &takes, guess[1]);
        from.others[from.n_others++] = guess[1];
    }
    vowel_change change;
    size_t n = climb_first(&c, &from, worlds, &change);
    *best = choose(&c, worlds, n);
    if (takes.p2 && change == VOWELS_CHANGE && best->standing >= 0)
        mend_by_takes(&c, &takes, best);
    else if (takes.p2)
        effort_add(s->opt_effort, (double)ev->n * s->rounds);
    takes_clear(&takes);
    free(guess[0]);
    free(guess[1]);
    if (best->m.mouth.n > 0) {
        *as_it_was = world_new(ev->n);
        world_copy(best, ev->n, as_it_was);
    }
    bool good = climb_end(&c, best);
    climber_clear(&c);
    return good;
}

/* A model begun anew owes nothing to the way that led to it, but where vowels change its first fit
 * takes what they do for tract and source, and a world that stood well may fall. So there the one
 * as it was is left in *anew if it stands better with all frames, by a nat and more. */
static void keep_better(const evidence *ev, world *anew, world *as_it_was)
{
    static const double least_nats = 1;
    if (standing_of(ev, as_it_was, NULL) >= standing_of(ev, anew, NULL) + least_nats) {
        world worse = *anew;
        *anew = *as_it_was;
        *as_it_was = worse;
    }
}

bool search_run(const evidence *ev, const search_settings *s, world *best)
{
    size_t *stands_for = xmalloc(ev->n, sizeof *stands_for);
    evidence *few = thin_evidence(ev, s->every, stands_for);
    world as_it_was = {.p2 = NULL};
    bool good = search_thin(few, s, best, &as_it_was);
    evidence_free(few);
    if (good)
        climb_all_frames(ev, s, stands_for, best);
    if (good && as_it_was.p2) {
        climb_all_frames(ev, s, stands_for, &as_it_was);
        keep_better(ev, best, &as_it_was);
    } else {
        effort_add(s->opt_effort, (double)ev->n);
    }
    world_clear(&as_it_was);
    free(stands_for);
    return good;
}
