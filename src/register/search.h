/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_SEARCH_H
#define REGISTER_SEARCH_H

/* EM from several starts, and which of the worlds they end in is the singer's: the one whose flips
 * stand up best, each by itself (register/trust.h). */

#include "register/chain.h"
#include "register/effort.h"
#include "register/hazard.h"
#include "register/known.h"
#include "register/regress.h"
#include "register/world.h"

typedef struct search_settings {
    regress_settings regress;
    chain_settings chain;
    hazard_settings hazard;
    int first_rounds; /* 3: of EM from each start, then only those from the best go on */
    size_t kept;      /* 2: so many */
    int rounds;       /* 12: of EM at most */
    size_t tidied;    /* 3: so many of the best are tidied, too */
    /* 0.1: by so much more, in steps from M1 to M2, the registers drift with next to no voice, and
     * by less up to regress.full_s. Of few pitches the tract is known badly, and what it lacks is
     * the same in all frames of a note. */
    double little_drift_sd;
    int tidied_rounds;      /* 2: of EM of each of these; the best goes on */
    size_t every;           /* 4: one frame in so many is searched with */
    const known *opt_known; /* one more start; NULL: none */
    effort *opt_effort;     /* told how far it is; NULL: nobody asks */
} search_settings;
search_settings search_defaults(void);

/* The best world; false when the evidence determines none. */
bool search_run(const evidence *ev, const search_settings *s, world *best);

#endif
