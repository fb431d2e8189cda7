/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_CORRECTIONS_H
#define JOURNAL_CORRECTIONS_H

/* Flips corrected by hand.
 *
 * What a person says is kept as it was said, in the order in which it was said, apart from what the
 * program hears: it outlives every new hearing and decoding. What is said of a place, 150 ms about
 * a time, takes the place of whatever was said of it before. All that is said in force makes
 * verdicts: a flip is here, or none is. They go to the decoder with the frames, as truth. */

#include "journal/journal.h"
#include "voice/track_store.h"

typedef enum correction_action {
    CORRECTION_ADD,     /* a flip that was not heard */
    CORRECTION_MOVE,    /* one that was heard at time_s is at to_s */
    CORRECTION_REMOVE,  /* one that was heard is none */
    CORRECTION_CONFIRM, /* one that was heard is one */
    CORRECTION_WITHDRAW /* what was said of the place is taken back */
} correction_action;
#define CORRECTION_ACTIONS "add|move|remove|confirm|withdraw"

typedef struct correction {
    correction_action action;
    flip_direction direction;
    double time_s, to_s; /* to_s: the same, but for a move */
} correction;

static const double CORRECTION_PLACE_S = 0.15;

/* Says one more thing of the take of that code; stored at once unless a transaction is open. */
bool corrections_say(journal *j, const char *code, const correction *c, err *e);

/* All that was said of the take of that code, in order. */
bool corrections_read(const journal *j, const char *code, correction **items, size_t *n, err *e);

typedef struct verdict {
    double time_s;
    bool flip; /* else there is none */
    flip_direction direction;
    flip_origin origin; /* of a flip: by which action */
} verdict;

typedef struct verdicts {
    size_t n;
    verdict *items; /* in order of time */
} verdicts;
void verdicts_clear(verdicts *v);

/* What is in force for the take of that code. */
bool verdicts_read(const journal *j, const char *code, verdicts *out, err *e);

/* Tells the decoder: fills in t->stated. A flip pins the registers of 150 ms on either side of it,
 * 20 ms left out, or half way to the next flip stated; where there is none, the register does not
 * change for 150 ms on either side. */
void verdicts_pin(const verdicts *v, track *t);

/* After decoding: flips found within 150 ms of a verdict give way to it. A flip stated is at the
 * time stated and has confidence 1; its figures are those found, else measured beside the time. */
void verdicts_apply(const verdicts *v, track *t, flips *found);

/* The same of a take in a store. */
bool verdicts_apply_stored(const verdicts *v, track_store *s, size_t take, flips *found, err *e);

#endif
