/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_TAKES_H
#define REGISTER_TAKES_H

/* What each of several takes tells when it is heard by itself, before all are searched together. */

#include "register/climb.h"

typedef struct heard_takes { /* empty of a single take */
    double *p2;              /* [frame] probability of M2 */
    double *standing;        /* [take] of its changes */
} heard_takes;

/* n > 0. Each from its leaps; free with takes_clear(). */
heard_takes takes_hear(const evidence *ev, const search_settings *s);
void takes_clear(heard_takes *t);

/* p2[ev->n] of not an empty one: what they say, put together. */
void start_by_takes(const evidence *ev, const heard_takes *t, double *p2);

/* Marks better[take] whose changes stood better by themselves than in a world, by a nat and more;
 * whether there are any. */
bool takes_stood_better(const evidence *ev, const heard_takes *t, const world *w, bool *better);

#endif
