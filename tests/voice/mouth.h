/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_MOUTH_H
#define VOICE_MOUTH_H

/* What lips and tongue do to a voice on top of its vowel, for either test voice: trills, humming.
 *
 * A trill of the lips (20-30 Hz) lets the voice out in bursts; shut, they leave a muffled rest of
 * it, 10 to 18 dB softer. That of the tongue is as fast, shuts for a shorter time and leaves more.
 * Both shake the pitch by 10 to 40 cents. Humming goes through the nose: a resonance at 220-320 Hz
 * and 12 dB an octave less above it, and a zero at 700-1200 Hz where the shut mouth swallows sound.
 * Rates from memory (lip trills 15-30, tongue trills 25-30 Hz), the rest common experience. */

#include <stddef.h>
#include <stdint.h>

typedef enum mouth { MOUTH_OPEN, MOUTH_LIPS, MOUTH_TONGUE, MOUTH_HUM, MOUTHS } mouth;
const char *mouth_name(mouth m); /* "open", "lip trill", ... */

/* How a trill shakes the pitch of a take: n steps of a millisecond, in semitones. */
void mouth_pitch(mouth m, uint64_t seed, int take, double *pitch_st, size_t n);

/* Of the clean sound of that take. */
void mouth_sound(mouth m, uint64_t seed, int take, double *samples, size_t n, int rate_hz);

#endif
