/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_CANDIDATES_H
#define VOICE_CANDIDATES_H

/* Pitch candidates of one frame: peaks of the normalised cross-correlation over lags. */

#include "sound/signal.h"
#include "voice/pitch.h"

#include <stddef.h>

enum { CANDIDATES_MOST = 10 };

typedef struct candidate {
    double st;      /* pitch in semitones */
    double lasting; /* the same over as many periods as 9 ms hold: resonance rings out, voice
                           does not */
    double cost;    /* log of unexplained power, with the cost of low pitch; 0: as good as none */
} candidate;

typedef struct correlator correlator;

/* Looks at a copy of the sound up to 2.4 kHz, where nearly all of the harmonics' power lies and
 * little of the breath's. */
correlator *correlator_new(const signal *x, const pitch_settings *s);
void correlator_free(correlator *c);

/* The cheapest candidates around time_s, at most CANDIDATES_MOST; 0 in silence. */
size_t correlator_candidates(correlator *c, double time_s, candidate found[CANDIDATES_MOST]);

#endif
