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

static const double tidy_dear = 0.3; /* settle_registers() */

typedef struct changes { /* of a world, and their cues */
    turns found;
    double (*cues)[CUES];
    double *p; /* [found.n] for their probabilities */
} changes;

/* p2 as in turns_find(). */
static changes changes_of(const evidence *ev, const world *w, double *p2)
{
    changes c = {.found = turns_find(ev, p2)};
    c.cues = xmalloc(c.found.n, sizeof *c.cues);
    c.p = xmalloc(c.found.n, sizeof *c.p);
    cues_of of = {ev, &w->m, &w->where, w->says, w->steps, p2, w->gain};
    cues_measure(&of, &c.found, c.cues);
    return c;
}

static void changes_clear(changes *c)
{
    free(c->p);
    free(c->cues);
    turns_clear(&c->found);
}

double standing_of(const evidence *ev, const world *w)
{
    double *p2 = xmalloc(ev->n, sizeof *p2), sum = 0;
    memcpy(p2, w->p2, ev->n * sizeof *p2);
    changes c = changes_of(ev, w, p2);
    trust_all(c.found.n, c.cues, c.p);
    for (size_t k = 0; k < c.found.n; k++)
        sum -= log1p(-fmin(c.p[k], 1 - 1e-9));
    changes_clear(&c);
    free(p2);
    return sum;
}

void standing_tidy(const evidence *ev, world *w)
{
    changes c = changes_of(ev, w, w->p2);
    trust_own(c.found.n, c.cues, c.p);
    settle_registers(ev, &c.found, c.p, tidy_dear, w->p2);
    changes_clear(&c);
}
