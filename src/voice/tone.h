/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_TONE_H
#define VOICE_TONE_H

/* Pitch, voice and harmonics of a sound, through trills of the lips or the tongue, too. */

#include "sound/signal.h"
#include "voice/pitch.h"
#include "voice/track.h"

/* Fills in those columns of a track whose frame i lies at i * hop_s of the sound and whose level is
 * known. Harmonics are NaN where lips or tongue trill. */
void tone_hear(const signal *x, double hop_s, const pitch_settings *s, track *t);

#endif
