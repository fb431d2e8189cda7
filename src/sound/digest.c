/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/digest.h"

#include <stdint.h>
#include <string.h>

enum { WORDS = 256 };

static void hash_words(struct sha256_ctx *hash, const uint32_t *words, size_t n)
{
    unsigned char bytes[4 * WORDS];
    for (size_t k = 0; k < n; k++)
        for (int b = 0; b < 4; b++)
            bytes[4 * k + (size_t)b] = (unsigned char)(words[k] >> (8 * b) & 0xFF);
    sha256_update(hash, 4 * n, bytes);
}

void digest_begin(struct sha256_ctx *hash, int rate_hz, int channels)
{
    const uint32_t form[] = {(uint32_t)rate_hz, (uint32_t)channels};
    sha256_init(hash);
    hash_words(hash, form, 2);
}

void digest_frames(struct sha256_ctx *hash, const float *samples, size_t n)
{
    uint32_t words[WORDS];
    for (size_t i = 0; i < n; i += WORDS) {
        size_t here = n - i < WORDS ? n - i : WORDS;
        memcpy(words, samples + i, here * sizeof *words);
        hash_words(hash, words, here);
    }
}
