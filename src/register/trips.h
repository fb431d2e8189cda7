/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_TRIPS_H
#define REGISTER_TRIPS_H

/* Where the pitch goes elsewhere for a moment and comes back, as in a sob. */

#include "register/evidence.h"

/* Fills in trip, and with it leap_st, sudden, kink and slide (register/evidence.h), of the frames
 * first..last, one stretch of voice of leaps_measure(), where the pitch leaps away and 50 to 250 ms
 * later back. The windows of leaps_measure() are longer than such a stay, and take its leaps for
 * small ones or for none. */
void trips_measure(evidence *ev, size_t first, size_t last);

#endif
