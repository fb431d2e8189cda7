/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_DRAW_TAKE_H
#define COMMAND_DRAW_TAKE_H

/* The picture of one take of a store whose registers are decoded; of a take that the store has not,
 * none. */

#include "show/take_draw.h"
#include "voice/track_store.h"

bool draw_take(const track_store *store, size_t take, const flips *found, const char *level_scale,
               double a4_hz, const picture *where, err *e);

#endif
