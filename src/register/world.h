/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_WORLD_H
#define REGISTER_WORLD_H

/* Where EM from one start has come: a model, and the registers that go with it. */

#include "register/model.h"
#include "register/place.h"
#include "register/steps.h"

#include <stdbool.h>

typedef struct world {
    model m; /* m.hi 0: none yet */
    place where;
    double gain;     /* log of the likelihood with flips over that without, nats */
    size_t twins;    /* others that came to the same and count with it */
    bool stiff;      /* its first fit has a stiff tract, as of all that came to the same */
    bool tidy;       /* after every round it loses the changes that have nothing to show */
    bool hardly;     /* vowels may change in it, but they hardly do (register/vowels.h) */
    bool rests;      /* the last round moved its registers by next to nothing */
    double standing; /* -log of the probability that none of its changes is a flip; -1: failed */
    double *p2;      /* [n] probability of M2 */
    saying *says;    /* [n] what the frames say under m */
    harmonic_step *steps; /* [n] of the harmonics under m */
} world;

world world_new(size_t n);                               /* of n frames; free with world_clear() */
void world_copy(const world *from, size_t n, world *to); /* to: one of as many frames */
void world_clear(world *w);

#endif
