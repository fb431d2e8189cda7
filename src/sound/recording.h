/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_RECORDING_H
#define SOUND_RECORDING_H

/* A recorded take, read by block in bounded memory, whatever its length.
 *
 * `name` is a file (WAV, AIFF, FLAC, Ogg Vorbis/Opus, MP3, CAF: whatever libsndfile reads;
 * what it does not read goes through ffmpeg, see sound/ffmpeg.h),
 * "-" for standard input, or FILE@START-END in seconds for a stretch of a longer file (a real
 * file of that very name goes first). Channels are never mixed: one is chosen. */

#include "base/message.h"

#include <stdbool.h>
#include <stddef.h>

typedef struct recording recording;

typedef struct recording_settings {
    int channel; /* 1..channels, the microphone; 0: guessed (see sound/channels.h) */
    int egg;     /* 1..channels, the EGG channel, never taken for the microphone; 0: guessed */
    bool without_digest; /* false; true: counts hold no digest, which takes a tenth of listening */
} recording_settings;

recording_settings recording_defaults(void);

/* Fails with one sentence: missing, a folder, empty file, not a sound file, a stretch that is
 * outside the file, a channel that it has not, a rate outside 8-192 kHz. */
bool recording_open(const char *name, const recording_settings *s, recording **out, err *e);
void recording_close(recording *r); /* NULL allowed */

int recording_rate_hz(const recording *r);
int recording_channels(const recording *r);
int recording_channel(const recording *r); /* the microphone's, named or guessed, from 1 */
int recording_egg(const recording *r);     /* the EGG's, named or guessed, from 1; 0: none */

/* The next samples of the chosen channel, full scale = 1.0, up to n; *got = 0 at the end. Into
 * opt_egg (NULL: not wanted) go the EGG's samples at the same times; only for a recording that has
 * an EGG channel. False when the file is damaged before its end. Samples that are not finite are
 * read as 0. */
bool recording_read_both(recording *r, float *block, float *opt_egg, size_t n, size_t *got, err *e);
static inline bool recording_read(recording *r, float *block, size_t n, size_t *got, err *e)
{
    return recording_read_both(r, block, NULL, n, got, e);
}

/* Back to the first sample, with nothing counted yet: all can be read again. */
bool recording_rewind(recording *r, err *e);

/* What was seen so far in the chosen channel. */
enum { RECORDING_DIGEST = 32 };
typedef struct recording_counts {
    size_t samples;
    double seconds;
    size_t clipped_runs; /* stretches of 3 or more samples at full scale */
    double dc;           /* mean, re full scale; NaN before the first sample */
    double peak;         /* largest magnitude, re full scale */
    /* SHA-256 of rate, channels and the samples of all channels: the same for the same sound in
     * another lossless format, under another name, with other tags, or heard on another channel.
     * All 0 when `without_digest`. */
    unsigned char sound[RECORDING_DIGEST];
} recording_counts;
recording_counts recording_count(const recording *r);

#endif
