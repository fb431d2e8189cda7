/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_FRAMES_LONG_H
#define JOURNAL_FRAMES_LONG_H

/* What was heard as bytes (journal/frames.h), of a take in a store: the same bytes, in memory that
 * does not grow with the take. */

#include "base/message.h"
#include "base/spool.h"
#include "journal/frames.h"
#include "voice/track_store.h"

enum { FRAMES_AT_ONCE = 12000 };

/* Puts the bytes of a take into a spool, from its beginning on. */
bool frames_long_write(const track_store *from, size_t take, spool *out, size_t *n_bytes,
                       unsigned char digest[FRAMES_DIGEST], err *e);

/* Gives n of the bytes. */
typedef bool frames_source(void *context, size_t at, void *bytes, size_t n, err *e);

/* Puts the frames, n that have n_bytes, into the take that the store was last begun with. *right
 * false, and some of the frames put: they are not those of n frames. */
bool frames_long_read(frames_source *read, void *context, size_t n_bytes, size_t n,
                      double full_scale_db, track_store *to, bool *right, err *e);

#endif
