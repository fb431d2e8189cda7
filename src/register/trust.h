/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_TRUST_H
#define REGISTER_TRUST_H

/* How probable it is that a change of register is a flip, from its cues: a logistic regression,
 * learnt from test voices by `make trust` (docs/method.md). */

#include "register/cues.h"

#include <stdbool.h>

enum { TRUST_TERMS = 44 };

/* Where a term counts: all of it where the pitch does not leap the way of the flip, none from 1.5
 * semitones on (what has no leap to show has to show more of the rest); all of it where the pitch
 * rests, none where it moves by 3 semitones in 40 ms (a voice may flip within a consonant). */
typedef enum trust_where { TRUST_ALWAYS, TRUST_LEAPLESS, TRUST_SLOW } trust_where;

/* What the regression multiplies: a cue, or the part of it between two bounds. */
typedef struct trust_term {
    cue from;
    double lo, hi;
    trust_where where;
} trust_term;
extern const trust_term trust_terms[TRUST_TERMS];

/* What term k reads off the cues. */
double trust_term_value(int k, const double cues[CUES]);

/* What each term adds to the log odds, nats, against the mean change of the voices that it was
 * learnt from; returns their sum and the intercept: the log odds of a flip. */
double trust_weigh(const double cues[CUES], double nats[TRUST_TERMS]);

/* p: the probability of a flip of each of a singer's n changes. First each is weighed alone; what
 * the others come to is its cue CUE_COMPANY, which is set here, twice: by what they come to alone,
 * and by what they come to in that company. */
void trust_all(size_t n, double (*cues)[CUES], double *p);

/* The same by each change's own cues, without those of its singer. */
void trust_own(size_t n, double (*cues)[CUES], double *p);

/* That cue, from the log odds of each change when weighed alone; nats[n]. */
void trust_company(size_t n, const double *nats, double (*cues)[CUES]);

#endif
