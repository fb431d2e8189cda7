/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_ITEM_H
#define JOURNAL_ITEM_H

/* The track and the flips of a take out of the journal's rows. */

#include "journal/sql.h"
#include "voice/track_store.h"

/* Words of flips.stated, from FLIP_ADDED on. */
#define ITEM_ORIGINS "add|move|confirm"

/* Of the take in row `id`, which item->take is; outline: the track is one of track_outline(). False
 * with a sentence when they are damaged; the caller clears the item either way. */
bool item_load(const journal *j, long id, bool outline, journal_item *item, err *e);

/* The frames of row `id`, without registers and flips, as another take of a store, in memory that
 * does not grow with them. */
bool item_store(const journal *j, long id, track_store *to, err *e);

#endif
