/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_STORE_H
#define JOURNAL_STORE_H

/* Putting takes into the journal, in two steps: what was heard in one take; then, because the
 * register model is the singer's, the registers of all of the singer's takes of a vowel at once.
 * A take that is heard and not judged is kept but shown to nobody, until the next judgement. */

#include "journal/journal.h"

typedef enum journal_stored {
    JOURNAL_NEW,    /* it was not there */
    JOURNAL_SAME,   /* the same singer, sound and stretch with the same settings: nothing to do */
    JOURNAL_CHANGED /* it was there with other settings, which are now these */
} journal_stored;

/* The code that singer, sound and stretch give. */
void journal_code(const char *singer, const unsigned char sound[JOURNAL_DIGEST], double start_s,
                  double end_s, char code[JOURNAL_CODE]);

/* The take of that code, judged or not; *found false when there is none. */
bool journal_find(journal *j, const char *code, journal_take *out, bool *found, err *e);

/* Stores a take as heard. Read of t: everything but code, take, session, judged, flips, doubtful.
 * The singer and the session are made when they are not there. Of two names of one recording the
 * first in byte order stays. */
bool journal_store(journal *j, const journal_take *t, const track *heard, journal_stored *outcome,
                   err *e);

/* All of a singer's takes of a vowel, judged or not: what register_decode() wants. */
bool journal_heard(journal *j, const char *singer, const char *vowel, journal_item **items,
                   size_t *n, err *e);
/* Stores reg, p_m2 and flips of each item; the takes are judged from then on. */
bool journal_judge(journal *j, const journal_item *items, size_t n, err *e);

#endif
