/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_SEARCH_H
#define REGISTER_SEARCH_H

/* EM from several starts, and which of the worlds they end in is the singer's. */

#include "register/chain.h"
#include "register/hazard.h"
#include "register/model.h"

typedef struct search_settings {
    model_settings model;
    chain_settings chain;
    hazard_settings hazard;
    int rounds; /* of EM at most */
} search_settings;
search_settings search_defaults(void);

enum { WORLD_NAME = 24 };
typedef struct world { /* where one start ended */
    char start[WORLD_NAME];
    model m;
    place where;
    double gain; /* log of the likelihood with flips over that with none, nats */
    double *p2;  /* [n] */
} world;

/* The best world; false when the evidence determines none. Free its p2. */
bool search_run(const evidence *ev, const search_settings *s, world *best);

#endif
