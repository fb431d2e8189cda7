/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_CUES_H
#define REGISTER_CUES_H

/* The cues of all changes of register that the chain makes. */

#include "register/cue.h"
#include "register/turns.h"
#include "register/model.h"
#include "register/place.h"
#include "register/steps.h"

typedef struct cues_of { /* what is known of all voice */
    const evidence *ev;
    const model *m;
    const place *where;
    const saying *says;         /* [ev->n] */
    const harmonic_step *steps; /* [ev->n] */
    const double *p2;           /* [ev->n] as turns_find() leaves it */
    double gain;                /* nats */
} cues_of;

/* out[c->n][CUES]; every number is finite, 0 where it is not to be had. */
void cues_measure(const cues_of *of, const turns *c, double (*out)[CUES]);

#endif
