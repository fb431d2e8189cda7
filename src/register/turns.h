/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_TURNS_H
#define REGISTER_TURNS_H

/* Where the chain changes register: what may be a flip, before each is asked for its own evidence.
 */

#include "register/evidence.h"

#include <stdbool.h>

typedef struct turn { /* on entering frame `at`; nothing else changes in first..last */
    size_t first, at, last;
    bool up;    /* M1 to M2 */
    bool brief; /* into or out of a stay that is too short to be believed */
} turn;

typedef struct turns {
    size_t n, room;
    turn *items; /* in order of `at` */
} turns;

/* Where p2[ev->n], the probability of M2, crosses 0.5 within a stretch of voice. Stays of up to
 * 200 ms that are not declared, without a leap of more than 1.5 semitones the right way at either
 * end, are given to the register about them in p2: the harmonics alone do not tell a register in so
 * little time. Empty without voice; free with turns_clear(). */
turns turns_find(const evidence *ev, double *p2);
void turns_clear(turns *c);

#endif
