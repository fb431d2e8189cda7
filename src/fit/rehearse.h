/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_REHEARSE_H
#define FIT_REHEARSE_H

/* Takes sung by a fitted model, and how much one of them is expected to tell. */

#include "fit/estimate.h"
#include "fit/plan.h"

/* Fisher's information of one such take about the estimate's parameters: the mean outer product of
 * the score of rehearsed takes. The estimate is settled; levels are absolute. */
square rehearse_information(const estimate *e, double at_db, const plan_take *t);

#endif
