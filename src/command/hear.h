/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_HEAR_H
#define COMMAND_HEAR_H

/* One recording into the journal, as heard; its registers wait for judge_singer(). */

#include "command/intake.h"
#include "journal/journal.h"

typedef enum hear_outcome {
    HEAR_NEW,        /* not shown by the journal before */
    HEAR_AGAIN,      /* in the journal, heard anew for other statements or by another version */
    HEAR_KNOWN,      /* in the journal just so: nothing was done */
    HEAR_REMOVED,    /* removed from the journal by hand: nothing was done */
    HEAR_UNREADABLE, /* nothing stored; *e says why, and other recordings may do better */
    HEAR_UNSTORED    /* the journal failed; *e says why */
} hear_outcome;

/* Reads the recording for its digest, and listens to it and stores what was heard unless the
 * journal has it just so. Out: the take's code; *unclear: there is an EGG, and which way contact
 * counts in it could not be told. */
hear_outcome hear_recording(journal *j, const intake *in, char code[JOURNAL_CODE], bool *unclear,
                            err *e);

#endif
