/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/standing.h"

#include "base/array.h"
#include "register/cues.h"
#include "register/settle.h"
#include "register/trust.h"
#include "register/turns.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double tidy_dear = 0.3;                           /* settle_registers() */
static const double leap_within_s = 0.12, least_leap_st = 0.5; /* the chain may be so far off */

typedef struct changes { /* of a world, and their cues */
    turns found;
    double (*cues)[CUES];
    double *p; /* [found.n] for their probabilities */
} changes;

/* The frame of the largest leap the way of a change, else its own. */
static size_t leap_at(const evidence *ev, const turn *t)
{
    size_t reach = evidence_frames(ev, leap_within_s), at = t->at;
    size_t from = t->at > t->first + reach ? t->at - reach : t->first + 1;
    double most = least_leap_st;
    for (size_t i = from; !t->brief && i < t->last && i <= t->at + reach; i++) {
        double leap = t->up ? ev->leap_st[i] : -ev->leap_st[i];
        if (leap > most) {
            most = leap;
            at = i;
        }
    }
    return at;
}

/* p2 as in turns_find(); the cues about the changes' own places, or about leaps. */
static changes changes_of(const evidence *ev, const world *w, double *p2, bool at_leaps)
{
    changes c = {.found = turns_find(ev, p2)};
    size_t n = c.found.n;
    c.cues = xmalloc(n, sizeof *c.cues);
    c.p = xmalloc(n, sizeof *c.p);
    turns placed = {n, n, xmalloc(n, sizeof *placed.items)};
    for (size_t k = 0; k < n; k++) {
        placed.items[k] = c.found.items[k];
        if (at_leaps)
            placed.items[k].at = leap_at(ev, &placed.items[k]);
    }
    cues_of of = {ev, &w->m, &w->where, w->says, w->steps, p2, w->gain};
    cues_measure(&of, &placed, c.cues);
    turns_clear(&placed);
    return c;
}

static void changes_clear(changes *c)
{
    free(c->p);
    free(c->cues);
    turns_clear(&c->found);
}

double standing_of(const evidence *ev, const world *w, double *opt_takes)
{
    double *p2 = xmalloc(ev->n, sizeof *p2), sum = 0;
    memcpy(p2, w->p2, ev->n * sizeof *p2);
    changes c = changes_of(ev, w, p2, false);
    trust_all(c.found.n, c.cues, c.p);
    for (size_t k = 0; k < c.found.n; k++) {
        double nats = -log1p(-fmin(c.p[k], 1 - 1e-9));
        sum += nats;
        if (opt_takes)
            opt_takes[ev->take[c.found.items[k].at]] += nats;
    }
    changes_clear(&c);
    free(p2);
    return sum;
}

void standing_tidy(const evidence *ev, world *w)
{
    changes c = changes_of(ev, w, w->p2, !w->m.mouth.may_change);
    trust_own(c.found.n, c.cues, c.p);
    settle_registers(ev, &c.found, c.p, tidy_dear, w->p2);
    changes_clear(&c);
}
