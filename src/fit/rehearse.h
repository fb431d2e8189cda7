/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_REHEARSE_H
#define FIT_REHEARSE_H

/* Takes sung by a fitted model, and how much one of them is expected to tell. */

#include "fit/plan.h"
#include "fit/worlds.h"

/* Fisher's information of one such take about the estimate's parameters, in each world: the mean
 * outer product of the score of takes rehearsed there. The estimate is settled; levels are
 * absolute. */
void rehearse_information(const estimate *e, double at_db, const plan_take *t,
                          const world worlds[WORLDS], square out[WORLDS]);

#endif
