/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_PATH_H
#define VOICE_PATH_H

/* The cheapest path through the candidates of all frames, by dynamic programming. */

#include "voice/pitch.h"

#include <stddef.h>

typedef struct path {    /* n frames */
    double *st;          /* NaN where the path has no pitch */
    double *unexplained; /* of the candidate taken; NaN where there is none */
    unsigned char
        *doubled;          /* 1 where twice the period leaves less than a third as much unexplained:
                               every second period differs (period doubling), and the sound repeats
                               at half the pitch */
    unsigned char *halved; /* 1 where half the period explains a third of the power: harmonics of
                               the octave above have twice the power of the others */
} path;

/* Candidates are those around i * hop_s, none where over_gate_db[i] is not above 0. The arrays are
 * the caller's. */
void path_find(const signal *x, double hop_s, size_t n, const double *over_gate_db,
               const pitch_settings *s, path *p);

/* A doubled period drops no octave unless it lasts. Where a path drops by an octave from one frame
 * to the next and comes back up so, or begins an octave low, or ends so, it is lifted to the octave
 * that surrounds it and marked as doubled: within `brief` frames always, within `longest` where
 * eight in ten of them are halved, and nine in ten where it begins or ends low. A note that is sung
 * an octave lower is halved, too, where its second harmonic lies on a formant, but not all along.
 * The octave above has to last for 10 frames on one side: the ring of a consonant does not. */
void path_lift_doubling(path *p, size_t n, size_t brief, size_t longest);

/* Where a voice flips a few periods may repeat by threes. A path that leaps up by a twelfth to
 * where it goes on, from a stretch of at most `brief` frames, is lifted and marked as doubled. */
void path_lift_tripling(path *p, size_t n, size_t brief);

#endif
