/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_TRACK_STORE_H
#define VOICE_TRACK_STORE_H

/* The frames of any number of takes of any length, in memory that does not grow with them (a few
 * kB a minute): they lie in a spool (see base/spool.h), 24 bytes a frame, 128 more where there are
 * harmonics, 24 with an EGG, and their measures, if any, and are read back in parts. Frames of a
 * take are at i * hop_s, from 0 on. */

#include "base/message.h"
#include "voice/track.h"

#include <stddef.h>

typedef struct track_store track_store;

/* Voice with what is about it: frames first..first + n - 1 of a take, with 0.3 s without voice at
 * either end, unless the take ends there. Between two stretches of a take lie 0.6 s or more without
 * voice. */
typedef struct stretch {
    size_t take, first, n;
    size_t voiced; /* frames of them */
} stretch;

track_store *track_store_new(void);
void track_store_free(track_store *s); /* NULL allowed */

/* A new take, to which the frames that follow belong. */
void track_store_begin(track_store *s, const char *take, double hop_s, declared_register declared);
/* Its next frames. */
bool track_store_append(track_store *s, const track *piece, err *e);
/* Ends it. */
void track_store_end(track_store *s);
/* Takes it out again, ended or not. */
void track_store_drop(track_store *s);

size_t track_store_takes(const track_store *s);
const char *track_store_name(const track_store *s, size_t take);
size_t track_store_frames(const track_store *s, size_t take);
/* Of all takes that are ended, in their order. */
const stretch *track_store_stretches(const track_store *s, size_t *n);

/* Frames first..first + n - 1 of a take as a track, bit for bit as they were appended, measures
 * left out; `reg` and `p_m2` as they were set, else 0 and NaN. */
bool track_store_read(const track_store *s, size_t take, size_t first, size_t n, track **out,
                      err *e);
/* From now on track_store_read() gives measures, too, where there are any. */
void track_store_read_measures(track_store *s);
/* Sets the registers of frames first..first + n - 1. */
bool track_store_label(track_store *s, size_t take, size_t first, size_t n,
                       const unsigned char *reg, const double *p_m2, err *e);

#endif
