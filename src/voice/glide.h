/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_GLIDE_H
#define VOICE_GLIDE_H

/* Pitch candidates while the pitch glides so fast that no two stretches of sound are alike.
 *
 * About the frame the sound is played at the varying speed that undoes the glide: at u seconds from
 * the frame, what was at log(1 + k u) / k, where the pitch grows by e^(k t). Of that the
 * correlation is taken as of any sound (voice/candidates.h). */

#include "voice/candidates.h"

#include <stddef.h>

/* The candidates around time_s where the pitch moves by st_per_s semitones a second, at most 300 up
 * or down; their pitch is that at time_s. `c` is for the rate of x, and loses the sound it had. */
size_t glide_candidates(correlator *c, const signal *x, const pitch_settings *s, double time_s,
                        double st_per_s, candidate found[CANDIDATES_MOST]);

#endif
