/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_CHANNELS_H
#define SOUND_CHANNELS_H

/* Which channel of a recording is the microphone, and which the electroglottograph (EGG).
 *
 * A recording is heard in looks of a quarter of a second, at most 600 of them: all of it up to 150
 * s, and of a longer one that many looks spread evenly over it, so that neither a silent beginning
 * nor an hour of talk decides. Of each look and channel are kept: its power without DC; how far it
 * has one pitch (the highest peak of its normalised autocorrelation between 60 and 1500 Hz; "sung"
 * from 0.85 on); and of its first 10 harmonics, those below 4 kHz, whether the first is the
 * strongest, their straight fall over the logarithm of their number, and their bumps, the standard
 * deviation of their levels about it.
 *
 * - An EGG sees the glottis alone: the same period as the microphone's sound, but neither formants
 *   nor room. A channel is taken for an EGG when another is sung at the same pitch in at least a
 *   quarter of the looks in which either is, its first harmonic is the strongest in eight of ten,
 *   and in the median it falls by at most 18 dB an octave and its bumps are at most 5 dB and 1.5 dB
 *   less than the other's. (Sung notes of real and made voices have 5-14 dB, speech 3.6 dB, made
 *   contact pulses 1-5 dB and a fall of 6-17 dB.) Where no four harmonics lie below 4 kHz, above
 *   some 900 Hz, nothing is seen. A channel whose second harmonic, re its first, rises and falls
 *   with the other's is a microphone all the same.
 * - Where noise hides all that: the channel whose second harmonic follows the other's least, if its
 *   first is the stronger in eight of ten looks and its correlation at the other's note is at least
 *   0.4 in the median; the other's second harmonic has to move by 4 dB (standard deviation).
 * - Of the others, the microphone is the loudest (largest variance; the first of equals), unless
 *   another within 40 dB of it is sung in a share of its time larger by 0.3 or more: a voice
 *   beside louder music or noise.
 *
 * The thresholds are the authors' own; tests/test_channels.c shows what they tell apart. Channels
 * are never mixed. */

#include <stddef.h>

#define CHANNELS_LOOK_S 0.25
enum { CHANNELS_LOOKS = 600 };

typedef struct channels channels;

channels *channels_new(int rate_hz, int n); /* rates of 8-192 kHz, n >= 1 */
void channels_free(channels *c);            /* NULL allowed */

/* The next n samples of all channels, interleaved; what is not finite counts as 0. */
void channels_hear(channels *c, const float *frames, size_t n);
/* Ends a look. One without samples does not count. At most CHANNELS_LOOKS. */
void channels_end_look(channels *c);

/* Channels count from 1. named_*: what is known, 0 for nothing; it is what comes out. Silence all
 * over gives the first channel that is not the EGG, and no EGG (0). */
void channels_choose(const channels *c, int named_microphone, int named_egg, int *microphone,
                     int *egg);

#endif
