/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_OUTLINE_H
#define LESSON_OUTLINE_H

/* What pitch and level do in a take beneath the vibrato.
 *
 * Voice is cut into pieces at its gaps (more than 150 ms) and at flips of a confidence of `least`
 * or more. Of each piece the first and last 0.1 s count for nothing where the voice begins or ends
 * (messe di voce are unstable there and not at their top: Koeberlein, Kirsch, Doellinger and
 * Echternach 2025, PLoS ONE 10.1371/journal.pone.0325284), nor do the flip's own span and 50 ms
 * beside it, over which it is smeared. What is left is averaged under a Hann window of 0.5 s, as
 * long as it fits: of a vibrato of 4 to 8 Hz it leaves at most a fortieth, of 3.5 Hz a sixteenth,
 * of a wavering of 0.5 Hz 0.96, of 1 Hz 0.85, of 2 Hz half. A piece shorter than the window gives
 * its mean. */

#include "register/flip.h"
#include "voice/track.h"

typedef struct outline_point {
    size_t frame; /* of the track */
    size_t piece; /* from 0 */
    double pitch_st, level_db;
} outline_point;

typedef struct outline {
    size_t n, pieces;
    outline_point *items; /* one for each frame that has a whole window, in order of time; for half
                             the frames of a piece that is shorter */
} outline;

/* Without voice, or with too little of it, n is 0. Free with outline_clear. */
outline outline_of(const track *t, const flips *found, double least);
void outline_clear(outline *c);

#endif
