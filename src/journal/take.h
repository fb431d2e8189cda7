/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_TAKE_H
#define JOURNAL_TAKE_H

/* Reading rows of the journal into takes, tracks and flips. */

#include "journal/sql.h"

/* The columns that take_read() wants, from takes t, sessions s and singers g. */
extern const char take_select[];

/* The one order of takes. */
extern const char take_order[];

journal_take take_read(sqlite3_stmt *s);

/* The take in row `id` with whole track and flips; false with a sentence when they are damaged. */
bool take_by_id(const journal *j, long id, journal_item *item, err *e);

/* *same: the frames of row `id` are there, and are those that were stored or have no digest. */
bool frames_same(const journal *j, long id, bool *same, err *e);

/* Runs a query that begins with take_select; singer and vowel are its first two parameters when
 * not NULL. The row ids are in the same order as the takes. */
typedef struct take_list {
    size_t n, room, id_room;
    journal_take *items;
    long *ids;
} take_list;
bool take_query(const journal *j, const char *where, const char *singer, const char *vowel_or_null,
                take_list *out, err *e);
void take_list_clear(take_list *l);
/* Takes of a list become items with their tracks, as track_outline(); the list is empty
 * afterwards. */
bool take_outlines(const journal *j, take_list *l, journal_item **items, size_t *n, err *e);

#endif
