/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_PATH_H
#define VOICE_PATH_H

/* The cheapest path through the candidates of all frames, by dynamic programming. */

#include "voice/pitch.h"

#include <stddef.h>

/* Candidates are those around i * hop_s, none where over_gate_db[i] is not above 0. Out: st[n],
 * NaN where the path has no pitch; unexplained[n] of the candidate taken, NaN likewise. */
void path_find(const signal *x, double hop_s, size_t n, const double *over_gate_db,
               const pitch_settings *s, double *st, double *unexplained);

/* Period doubling: every second period differs, and the sound repeats at half the pitch. Where a
 * path drops by an octave and comes back up, or begins an octave low, or ends so, and all within
 * `longest` frames, it is lifted to the octave that surrounds it, and marked; what stays longer is
 * left. doubled[n]: 1 where lifted, else 0. */
void path_lift_doubling(size_t n, size_t longest, double *st, unsigned char *doubled);

#endif
