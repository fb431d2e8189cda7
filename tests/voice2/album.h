/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_ALBUM_H
#define VOICE2_ALBUM_H

/* Recordings of the second voice with the truth beside them, in the layout of the first voice's
 * studio_family (see voice/studio.h): take-NN.wav, takes.tsv, frames.tsv, flips.tsv, boundary.tsv.
 * WAV files are of 16 or 24 bits or float. In period doubling the pitch is that of the single
 * cycle and the register stays what it is. */

#include "base/message.h"
#include "voice2/vocalist.h"

#include <limits.h>

/* The singer's first `takes` takes, all where there are fewer; ALBUM_ALL: all. Makes the folder
 * when it is not there (its parent must be). */
enum { ALBUM_ALL = INT_MAX };
bool album_write(cast_family f, uint64_t seed, int takes, const char *folder, err *e);

/* The same with an EGG (see electrodes.h) beside the microphone, whose samples are the same. On the
 * right of frames.tsv contact_quotient (to 3/7 of the amplitude), contact_peaks (between the peaks
 * of the slope) and egg_lost (1: no contact with the skin); in boundary.tsv egg_channel, egg_turned
 * (1: contact counts downwards) and egg_noise_db. */
bool album_write_egg(cast_family f, uint64_t seed, int takes, const char *folder, err *e);

#endif
