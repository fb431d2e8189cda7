/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_EGG_CELLS_H
#define COMMAND_EGG_CELLS_H

/* What an EGG tells, as columns and notes of `analyse`. */

#include "base/table.h"
#include "register/agree.h"
#include "voice/egg.h"
#include "voice/track.h"

typedef struct
    egg_heard { /* takes that have an EGG channel, and which way contact counts in them */
    size_t takes, up, down;
} egg_heard;

void egg_hear(egg_heard *h, bool has_egg, egg_way contact); /* one more take */
bool egg_unclear(const egg_heard *h);                       /* there is one of neither way */
egg_way egg_agreed(const egg_heard *h); /* that of all whose way is known, if it is one */

/* The columns, beginning with a blank. */
#define EGG_COLUMNS                                                                                \
    " contact_quotient contact_quotient_peaks contact_closing contact_level_db egg_clarity"
void egg_cells(table_writer *w, const track *t, size_t frame); /* empty for a track without EGG */

/* Which way contact counts, in how much of the voice the EGG tells the register, and how well the
 * microphone agrees; nothing without an EGG. */
void egg_notes(table_writer *w, const egg_heard *h, const agreement *a, double voiced_s);

#endif
