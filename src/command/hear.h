/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_HEAR_H
#define COMMAND_HEAR_H

/* One recording into the journal, as heard; its registers wait for judge_singer(). */

#include "command/intake.h"
#include "journal/journal.h"
#include "voice/egg.h"

typedef enum hear_outcome {
    HEAR_NEW,        /* not shown by the journal before */
    HEAR_AGAIN,      /* in the journal, heard anew for other statements or by another version */
    HEAR_KNOWN,      /* in the journal just so: nothing was done */
    HEAR_REMOVED,    /* removed from the journal by hand: nothing was done */
    HEAR_UNREADABLE, /* nothing stored; *e says why, and other recordings may do better */
    HEAR_UNSTORED    /* the journal failed; *e says why */
} hear_outcome;

/* What is known of a take's EGG from the session's other takes. */
typedef struct electrodes {
    int channel;     /* its channel, from 1; 0: to be found in the take */
    egg_way contact; /* likewise; EGG_UNKNOWN: to be found */
} electrodes;

typedef struct hear_result {
    hear_outcome outcome;
    char code[JOURNAL_CODE]; /* the take's */
    int channels;            /* of the recording */
    egg_way contact; /* stated or found; EGG_UNKNOWN: neither, or it was not listened to now */
    bool unclear;    /* there is an EGG, and which way contact counts could not be told */
} hear_result;

/* Reads the recording for its digest, and listens to it and stores what was heard unless the
 * journal has it just so. What is stated, now or before, goes before `others`. */
void hear_recording(journal *j, const intake *in, const electrodes *others, hear_result *out,
                    err *e);

#endif
