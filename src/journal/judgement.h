/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_JUDGEMENT_H
#define JOURNAL_JUDGEMENT_H

/* Which takes wait for their registers, and storing what the decoder makes of them.
 *
 * A singer's takes of a vowel, in the journal's order, are decoded in parts: a part ends with the
 * session in which it comes to 4 minutes of voice, or with the take in which it comes to 6. With a
 * part go the takes of the part before it, for what they tell of the singer, and that part's model,
 * as the place to begin. So a new session costs no more after ten years than after one, and the
 * result hangs on nothing but takes, settings, corrections and version: what each part rests on is
 * kept as a digest, chained from part to part, and a part is current while that holds.
 *
 * A part with a take of more than 6 minutes of voice is decoded in pieces, by its own takes and
 * that model alone, and such a take tells the next part no more than its model: so the memory that
 * this takes does not grow with a take.
 *
 * Decoding takes long and is done between the two calls, without a lock. */

#include "journal/corrections.h"
#include "journal/journal.h"
#include "register/known.h"
#include "voice/track_store.h"

typedef struct judgement {
    char *singer, *vowel;
    long part; /* from 1 */
    char *rests_on;
    size_t n_before, n;  /* items: takes of the part before, then those of this part */
    journal_item *items; /* [n_before + n] flips empty, no registers, tracks with what is stated */
    verdicts *verdicts;  /* [n_before + n] */
    track_store *store;  /* NULL, or, where a take of the part is long, the frames of its takes, in
                            their order: then the items have no tracks, and n_before is 0 */
    known before;        /* the model of the part before, or nothing */
    known learnt;        /* that of this part, to be stored; nothing until it is decoded */
} judgement;

void judgement_clear(judgement *g);

/* The first part of the singer's that is not current, vowels by name; *any false when all are. Of a
 * take that is heard anew the last hearing counts; removed takes do not. */
bool judgement_next(journal *j, const char *singer, const char *version, judgement *out, bool *any,
                    err *e);

/* Once it is decoded, may be called: keeps of the frames only what judgement_store() needs. */
void judgement_slim(judgement *g);

/* Stores registers and flips of the part's own takes, with what is stated of them, and what was
 * learnt; they are shown from then on. `answer` says in a sentence what was found. Nothing is
 * stored and *stale set when what the part rests on has changed meanwhile. May be called again when
 * what it stored was taken back. */
bool judgement_store(journal *j, judgement *g, const char *version, const char *answer, bool *stale,
                     err *e);

#endif
