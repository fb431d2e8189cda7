/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_STORE_H
#define JOURNAL_STORE_H

/* Putting takes into the journal, in two steps: what was heard in one take; then, because the
 * register model is the singer's, the registers of it together with other takes
 * (journal/judgement.h).
 *
 * A take that is heard and not judged is kept but shown to nobody, until the next judgement; of a
 * take that is heard anew the old hearing is shown until then. */

#include "journal/journal.h"
#include "voice/checkup.h"
#include "voice/track_store.h"

/* The code that singer, sound and stretch give. */
void journal_code(const char *singer, const unsigned char sound[JOURNAL_DIGEST], double start_s,
                  double end_s, char code[JOURNAL_CODE]);

/* The take of that code, as last heard, judged or not; *found false, *out untouched when there is
 * none. */
bool journal_find(journal *j, const char *code, journal_take *out, bool *found, err *e);

/* Stores a take as heard, in the place of an earlier hearing that was not judged. Read of t:
 * everything but take, session, judged, flips, doubtful, failed and warned. Singer and session are
 * made when they are not there. opt_checks: of its recording. */
bool journal_store(journal *j, const journal_take *t, const track *heard, const checkup *opt_checks,
                   err *e);
/* The same of frames in a store, its first take, in memory that does not grow with them. */
bool journal_store_heard(journal *j, const journal_take *t, const track_store *heard,
                         const checkup *opt_checks, err *e);

/* The take that is named by the first digits of its code, as it is shown: judged, and removed only
 * where `removed` says that one is wanted which is. False, with a sentence, when there is none or
 * more than one. */
bool journal_named(journal *j, const char *name, bool removed, journal_item *out, err *e);

/* All takes of a singer that are shown or were removed, in the journal's order. */
bool journal_kept(journal *j, const char *singer, journal_take **items, size_t *n, err *e);

typedef struct journal_answer { /* what a part of a singer's takes of a vowel told */
    char *vowel, *version, *answer;
    long part;
} journal_answer;
bool journal_answers(journal *j, const char *singer, journal_answer **items, size_t *n, err *e);
void journal_answers_free(journal_answer *items, size_t n);

#endif
