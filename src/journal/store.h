/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_STORE_H
#define JOURNAL_STORE_H

/* Putting takes into the journal, in two steps: what was heard in one take; then, because the
 * register model is the singer's, the registers of all of the singer's takes of a vowel at once.
 *
 * A take that is heard and not judged is kept but shown to nobody, until the next judgement; of a
 * take that is heard anew the old hearing is shown until then. */

#include "journal/journal.h"

/* The code that singer, sound and stretch give. */
void journal_code(const char *singer, const unsigned char sound[JOURNAL_DIGEST], double start_s,
                  double end_s, char code[JOURNAL_CODE]);

/* The take of that code, as last heard, judged or not; *found false, *out untouched when there is
 * none. */
bool journal_find(journal *j, const char *code, journal_take *out, bool *found, err *e);

/* Stores a take as heard, in the place of an earlier hearing that was not judged. Read of t:
 * everything but take, session, judged, flips and doubtful. Singer and session are made when they
 * are not there. */
bool journal_store(journal *j, const journal_take *t, const track *heard, err *e);

/* The vowels of which a singer's takes wait for judgement, or have done until a take was heard anew
 * as another vowel, by name. The caller frees as journal_vowels(). */
bool journal_waiting(journal *j, const char *singer, journal_vowel **items, size_t *n, err *e);
/* All of a singer's takes of a vowel as last heard: what register_decode() wants. */
bool journal_heard(journal *j, const char *singer, const char *vowel, journal_item **items,
                   size_t *n, err *e);
/* Stores reg, p_m2 and flips of each item; the takes are judged from then on. `answer` says in a
 * sentence what was found in the singer's takes of that vowel. */
bool journal_judge(journal *j, const char *singer, const char *vowel, const journal_item *items,
                   size_t n, const char *version, const char *answer, err *e);

#endif
