/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_EGG_HEAR_H
#define VOICE_EGG_HEAR_H

/* What an EGG channel says of the vocal folds: their pitch, by it alone, and their contact. What
 * touches knows no formants, so that the pitch is right where a microphone takes a formant, a
 * harmonic or a room for the voice. */

#include "sound/companion.h"
#include "voice/egg.h"
#include "voice/pitch.h"
#include "voice/track.h"

#include <stdbool.h>
#include <stddef.h>

/* Of n frames, frame i at i * hop_s: NaN where the EGG does not repeat plainly, each period being
 * like the next to 0.9 for 50 ms without a leap. Hum repeats, too: only together with what a
 * microphone hears is this a voice. free() it; NULL without an EGG. */
double *egg_hear_pitch(const companion *opt_egg, double hop_s, size_t n, const pitch_settings *s);

/* Fills in the track's contact. `guessed`: it is not known which way contact counts. */
void egg_hear_contact(const companion *egg, egg_way contact, bool guessed, track *t);

#endif
