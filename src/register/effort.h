/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_EFFORT_H
#define REGISTER_EFFORT_H

/* How far a long computation is, for whoever waits for it or no longer does. NULL is allowed
 * throughout. */

#include <stdbool.h>
#include <stddef.h>

typedef struct effort {
    void (*show)(void *whose, double share); /* share of the whole that is done, 0..1, rising */
    void *whose;
    double from, to;  /* shares with which this part of the whole begins and ends: 0, 1 */
    double done, all; /* of this part, in any unit */
    /* NULL, or true from some time on: what is left is skipped, and the answer is to be thrown
     * away. It may become true while `show` is called. */
    const bool *opt_stop;
} effort;

/* A part of `all` units begins; with none added it ends where it begins. */
void effort_begin(effort *e, double all);
void effort_add(effort *e, double units);
/* The k-th of n equal parts of e, from 0 on: an effort of its own. */
effort effort_part(const effort *e, size_t k, size_t n);
/* What comes first takes `share` of e, the rest what is left. */
void effort_split(const effort *e, double share, effort *first, effort *rest);
/* All of it is done, or need not be. */
void effort_end(const effort *e);
bool effort_stopped(const effort *e);

#endif
