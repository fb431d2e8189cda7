/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_PHASES_H
#define VOICE_PHASES_H

/* Pitch made finer by the phases of its harmonics. */

#include "sound/signal.h"

/* Corrects pitch_st[n] (frame i at i * hop_s, NaN when unvoiced) by how fast the phases of the
 * harmonics turn about it. A frame's pitch is the mean over 25 ms centred on it, over two hops
 * where the pitch moves within that time, and over less where voice begins and ends.
 * clarity_db[n], of voiced frames alone: power of the harmonics over that of what lies half-way
 * between them, up to the eighth. */
void phases_refine(const signal *x, double hop_s, size_t n, double *pitch_st, double *clarity_db);

#endif
