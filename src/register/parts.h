/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_PARTS_H
#define REGISTER_PARTS_H

/* Registers and flips of takes that lie in a store, in bounded memory.
 *
 * Up to PARTS_WHOLE voiced frames (6 minutes) are decoded together. More are decoded in parts of up
 * to 4 minutes of voice, each as the takes that it holds, and to each comes the same sample of the
 * rest, 30 excerpts of 4 s spread evenly over all the voice: what a part alone would lack, the
 * other register above all, the sample tells. Parts meet where there is no voice for 0.6 s or more;
 * a stretch of voice longer than 2 minutes is cut, with 5 s looked at beyond the cut, which lies
 * where the part before it hears no flip. */

#include "register/decode.h"
#include "voice/track_store.h"

enum { PARTS_WHOLE = 72000 };

/* found: one empty list for each take of the store. *parts: how many there were. The summary's
 * voiced_s is of all voice; answer and gain are those of one part, or of several: both registers
 * where any part has them, and the gain NaN. False only when the store cannot be read or
 * written. */
bool parts_decode(track_store *store, const register_settings *s, flips *found,
                  register_summary *summary, size_t *parts, err *e);

#endif
