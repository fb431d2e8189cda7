/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_DIGEST_H
#define SOUND_DIGEST_H

/* SHA-256 of sound: of the rate, the number of channels and the samples of all channels, each as 32
 * bits, lowest byte first, so that every machine gives the same. */

#include <nettle/sha2.h>
#include <stddef.h>

void digest_begin(struct sha256_ctx *hash, int rate_hz, int channels);
void digest_frames(struct sha256_ctx *hash, const float *samples, size_t n);

#endif
