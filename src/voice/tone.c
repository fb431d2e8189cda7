/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/tone.h"

#include "base/array.h"
#include "voice/harmonics.h"
#include "voice/trill.h"

#include <math.h>
#include <stdlib.h>

void tone_hear(const signal *x, double hop_s, const pitch_settings *s, track *t)
{
    unsigned char *trilled = xcalloc(t->n, sizeof *trilled);
    bool trills = trill_find(x, hop_s, t->n, trilled);
    signal flat = trills ? trill_flatten(x, hop_s, t->n, trilled) : *x;
    pitch_track(&flat, hop_s, t->n, t->level_db, s, t->pitch_st, t->voicing, t->doubled);
    if (trills)
        signal_clear(&flat);
    harmonics_measure(x, t);
    for (size_t i = 0; i < t->n; i++)
        for (size_t h = 0; trilled[i] && h < TRACK_HARMONICS; h++) {
            t->harmonic_db[i * TRACK_HARMONICS + h] = NAN;
            t->noise_db[i * TRACK_HARMONICS + h] = NAN;
        }
    free(trilled);
}
