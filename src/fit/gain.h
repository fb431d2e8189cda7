/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_GAIN_H
#define FIT_GAIN_H

/* A recorder that turns its gain by itself: levels then tell nothing, pitches do.
 *
 * Such a gain is high before the voice sets in and low when it has ended, so that the noise of the
 * room is louder before than after, by as much as the voice pressed the gain down. A room's echo
 * does the opposite; a breath before singing is passed over by taking the quietest tenth. A first
 * sign only: a gain that comes back within 0.2 s or slower than the pauses last, and a gate that
 * silences pauses, are not seen. */

#include "fit/boundary.h"

typedef struct gain_signs {
    size_t stretches; /* of voice with enough of a pause heard on both sides */
    double drop_db;   /* median: noise before less noise after; NaN without a stretch */
    bool automatic;   /* three stretches or more, and they drop by 4 dB or more */
} gain_signs;

gain_signs gain_heard(const path *paths, size_t n);

#endif
