/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_PARTS_H
#define REGISTER_PARTS_H

/* Registers and flips of takes that lie in a store, in bounded memory.
 *
 * Up to `whole` voiced frames are decoded together. More are decoded in parts, each as the takes
 * that it holds, and to each comes the same sample of the rest, excerpts spread evenly over all
 * the voice: what a part alone would lack, the other register above all, the sample tells. Parts
 * meet where there is no voice for 0.6 s or more; a stretch of voice longer than `longest` is cut,
 * with 5 s looked at beyond the cut, which is placed where the part before it hears no flip. */

#include "register/decode.h"
#include "voice/track_store.h"

enum { PARTS_EXCERPTS = 100 };

/* Fills in what is stated of frames of a take: t->stated, by their times. */
typedef void parts_stated(void *context, size_t take, track *t);

typedef struct parts_settings { /* in frames of 5 ms */
    size_t whole;    /* 72000 voiced ones (6 minutes): about 1 kB each while they are decoded */
    size_t own;      /* 42000 voiced ones (3.5 minutes) of a part: the sample comes to it */
    size_t longest;  /* 24000: 2 minutes; at least 4000 */
    size_t excerpts; /* 30, at most PARTS_EXCERPTS */
    size_t excerpt;  /* 800: 4 s each, 2 minutes in all */
    parts_stated *opt_stated; /* NULL: nothing is stated */
    void *context;            /* for it */
} parts_settings;
parts_settings parts_defaults(void);

/* found: one empty list for each take of the store. *parts: how many there were, at least 1. The
 * summary's voiced_s is of all voice; answer and gain are those of one part, or of several: both
 * registers where any part has them, and the gain NaN. What is learnt is of the last part that has
 * both; what explains it is of each part, with the flips that it told. False only when the store
 * cannot be read or written. */
bool parts_decode(track_store *store, const register_settings *s, const parts_settings *sizes,
                  flips *found, register_summary *summary, size_t *parts, err *e);

#endif
