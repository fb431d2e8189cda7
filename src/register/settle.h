/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_SETTLE_H
#define REGISTER_SETTLE_H

/* Registers that agree with the flips that are believed: between two changes that are not, the
 * voice stays in the register about them. */

#include "register/turns.h"

/* p[c->n]: how probable each change is a flip. Changes p2[ev->n] where the flips so believed say
 * that the register does not change; `dear`, from 0 to 1: the share that counts of what it costs to
 * give a stay another register than p2 gives it. */
void settle_registers(const evidence *ev, const turns *c, const double *p, double dear, double *p2);

/* Whether both registers are stated for 2 s or more, so that the chain knows how they sound. */
bool settle_told(const evidence *ev);

#endif
