/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_CANDIDATES_H
#define VOICE_CANDIDATES_H

/* Pitch candidates of one frame: peaks of the normalised cross-correlation over lags. */

#include "sound/signal.h"
#include "voice/pitch.h"

#include <stddef.h>

enum { CANDIDATES_MOST = 10 };

typedef struct candidate {
    double st;          /* pitch in semitones */
    double unexplained; /* log of the share of power that the period leaves unexplained */
    double cost;        /* that re no voice, with the cost of low pitch */
} candidate;

typedef struct correlator correlator;

/* Keeps a copy of the sound. */
correlator *correlator_new(const signal *x, const pitch_settings *s);
void correlator_free(correlator *c);

/* Another sound of the same rate in the place of the one it has. */
void correlator_take(correlator *c, const signal *x);

/* The cheapest candidates around time_s, at most CANDIDATES_MOST; 0 in silence. */
size_t correlator_candidates(correlator *c, double time_s, candidate found[CANDIDATES_MOST]);

/* Puts one among n found, which are in the order of their cost, if it is not dearer than all that
 * there is room for. */
void candidate_keep(candidate found[CANDIDATES_MOST], size_t *n, candidate new);

#endif
