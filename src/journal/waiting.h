/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_WAITING_H
#define JOURNAL_WAITING_H

/* A singer's takes of a vowel as they are to be judged, in parts (see journal/judgement.h): of each
 * take the last hearing, without removed takes, and without their frames. */

#include "journal/sql.h"

#include <nettle/sha2.h>

typedef struct waiter {
    long id, session;
    bool judged;
    double voiced_s;
    char *code, *rests_on; /* all that its registers hang on, as text */
} waiter;

typedef struct waiting_part {
    size_t first, n;
    bool judged; /* all of its takes are */
    char rests_on[2 * SHA256_DIGEST_SIZE + 1];
} waiting_part;

typedef struct waiting {
    size_t n, room, n_parts, part_room;
    waiter *takes;
    waiting_part *parts;
} waiting;

/* Whether a take has more voice than is decoded at once, 6 minutes. */
bool waiting_is_long(const waiter *w);

bool waiting_read(const journal *j, const char *singer, const char *vowel, const char *version,
                  waiting *p, err *e);
void waiting_clear(waiting *p);

/* Whether what is stored of the part of this number, from 1, still holds. */
bool waiting_is_current(const journal *j, const char *singer, const char *vowel,
                        const waiting_part *p, long number, bool *current, err *e);

#endif
