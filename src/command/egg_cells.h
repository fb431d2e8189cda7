/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_EGG_CELLS_H
#define COMMAND_EGG_CELLS_H

/* What an EGG tells, as columns and notes of `analyse`. */

#include "base/table.h"
#include "register/agree.h"
#include "voice/listen.h"

/* Takes that have an EGG channel, and which way contact counts in them. */
typedef struct egg_heard {
    size_t takes, up, down;
    size_t without; /* takes of several channels in which none is the EGG */
    int channel;    /* the EGG's in all takes, from 1; 0: none yet, -1: not the same in all */
} egg_heard;

void egg_hear(egg_heard *h, const voice_whole *take); /* one more */
bool egg_unclear(const egg_heard *h);                 /* there is one of neither way */
egg_way egg_agreed(const egg_heard *h); /* that of all whose way is known, if it is one */

/* The channel in which to look for the EGG of takes without: that of at least as many others; 0:
 * none. */
int egg_elsewhere(const egg_heard *h);

/* The columns, beginning with a blank. */
#define EGG_COLUMNS                                                                                \
    " contact_quotient contact_quotient_peaks contact_closing contact_level_db egg_clarity"
void egg_cells(table_writer *w, const track *t, size_t frame); /* empty for a track without EGG */

/* The channel, which way contact counts, in how much of the voice the EGG tells the register, and
 * how well the microphone agrees; nothing without an EGG. */
void egg_notes(table_writer *w, const egg_heard *h, const agreement *a, double voiced_s);

#endif
