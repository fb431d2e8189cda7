/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_SEARCH_H
#define REGISTER_SEARCH_H

/* EM from several starts, and which of the worlds they end in is the singer's: the one whose flips
 * stand up best, each by itself (register/trust.h). */

#include "register/chain.h"
#include "register/hazard.h"
#include "register/place.h"
#include "register/regress.h"

typedef struct search_settings {
    regress_settings regress;
    chain_settings chain;
    hazard_settings hazard;
    int rounds;      /* 12: of EM at most, from each start */
    size_t every;    /* 4: one frame in so many is searched with */
    int full_rounds; /* 1: of EM with all frames, from where the search ends */
} search_settings;
search_settings search_defaults(void);

typedef struct world { /* where one start ended */
    model m;
    place where;
    double gain;  /* log of the likelihood with flips over that without, nats */
    double *p2;   /* [n] probability of M2 */
    saying *says; /* [n] what the frames say under m */
} world;

/* The best world; false when the evidence determines none. */
bool search_run(const evidence *ev, const search_settings *s, world *best);
void world_clear(world *w);

#endif
