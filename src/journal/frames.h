/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_FRAMES_H
#define JOURNAL_FRAMES_H

/* A track as bytes: the layout that docs/journal.md describes. Numbers are 32-bit floats, lowest
 * byte first; NaN where there is nothing, -INFINITY for the level of silence.
 *
 * `heard`: pitch_st[n], voicing[n], level_db[n], then track_flags() of each frame, then
 * harmonic_db[m][16] and noise_db[m][16] of those m frames that have harmonics, then, where there
 * is an EGG, the six numbers of voice/egg.h of each frame. Layout 2 has no EGG, layout 1 besides no
 * flags but that harmonics follow; they are the same otherwise.
 * `reg`: one byte a frame. `p_m2`: floats. */

#include "base/message.h"
#include "register/known.h"
#include "voice/track.h"

#include <stddef.h>

enum { FRAMES_LAYOUT = 3 };

typedef struct frames_bytes {
    unsigned char *bytes; /* free() */
    size_t n;
} frames_bytes;

frames_bytes frames_heard_write(const track *t);
enum { FRAMES_DIGEST = 32 };
/* SHA-256 of the bytes: what tells damage that SQLite does not see. */
void frames_digest(const void *bytes, size_t n, unsigned char digest[FRAMES_DIGEST]);
frames_bytes frames_p_m2_write(const track *t);

/* Fill a track made by track_new(); false when the bytes are not those of t->n frames. One made by
 * track_outline() needs only the first FRAMES_OUTLINE bytes a frame. */
enum { FRAMES_OUTLINE = 13 };
bool frames_heard_read(const void *bytes, size_t n_bytes, track *t);
bool frames_registers_read(const void *reg, size_t reg_bytes, const void *p_m2, size_t p_m2_bytes,
                           track *t);

/* What is known of a singer as bytes: the numbers of known_pack(). */
enum { FRAMES_KNOWN_LAYOUT = 1 };
frames_bytes frames_known_write(const known *k);
/* False, and nothing known, when they are not that. */
bool frames_known_read(const void *bytes, size_t n_bytes, known *k);

#endif
