/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/takes.h"

#include "base/array.h"
#include "register/standing.h"
#include "register/starts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double least_nats = 1;

/* Frames lo..hi - 1, a take; returns how well its changes stand up. */
static double hear_take(const evidence *ev, const search_settings *s, size_t lo, size_t hi,
                        double *p2)
{
    evidence take = evidence_part(ev, lo, hi);
    climber c = climber_new(&take, s);
    world w = world_new(take.n);
    start_by_leaps(&take, 0.5, &s->chain, &s->hazard, w.p2);
    climb_all(&c, s->first_rounds, &w, 1);
    memcpy(p2 + lo, w.p2, take.n * sizeof *p2);
    double standing = w.standing;
    world_clear(&w);
    climber_clear(&c);
    free(take.before);
    return standing;
}

heard_takes takes_hear(const evidence *ev, const search_settings *s)
{
    if (!evidence_of_takes(ev))
        return (heard_takes){NULL, NULL};
    size_t n = ev->take[ev->n - 1] + 1;
    heard_takes t = {xmalloc(ev->n, sizeof *t.p2), xcalloc(n, sizeof *t.standing)};
    for (size_t lo = 0, hi; lo < ev->n; lo = hi) {
        for (hi = lo; hi < ev->n && ev->take[hi] == ev->take[lo];)
            hi++;
        t.standing[ev->take[lo]] = hear_take(ev, s, lo, hi, t.p2);
    }
    return t;
}

void takes_clear(heard_takes *t)
{
    free(t->p2);
    free(t->standing);
    *t = (heard_takes){NULL, NULL};
}

/* Takes that only tempt, with a portamento or a vowel that changes, lead the worlds of all takes
 * astray, but not that of a take with flips: the less a take's changes stand up, the nearer to 0.5
 * it begins. */
void start_by_takes(const evidence *ev, const heard_takes *t, double *p2)
{
    for (size_t i = 0; i < ev->n; i++) {
        double sure = 1 - exp(-fmax(0, t->standing[ev->take[i]]));
        p2[i] = 0.5 + sure * (t->p2[i] - 0.5);
    }
}

bool takes_stood_better(const evidence *ev, const heard_takes *t, const world *w, bool *better)
{
    size_t n = ev->take[ev->n - 1] + 1;
    double *stand = xcalloc(n, sizeof *stand);
    bool any = false;
    standing_of(ev, w, stand);
    for (size_t k = 0; k < n; k++) {
        better[k] = t->standing[k] >= stand[k] + least_nats;
        any = any || better[k];
    }
    free(stand);
    return any;
}
