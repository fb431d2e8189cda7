/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_JUDGE_H
#define COMMAND_JUDGE_H

/* The registers of a singer's takes that wait for judgement, decoded with those that they hang
 * together with (journal/judgement.h). What there is to tell, such as that one register alone was
 * heard, goes to stderr. Other processes may read and write meanwhile; each part that is decoded is
 * stored at once, as a whole or not at all. */

#include "journal/journal.h"

typedef struct judge_watch {
    void (*decoded)(void *context, size_t takes); /* called after each part, with its takes */
    /* Called meanwhile, with so many of them as are done by then; NULL: the part shows itself. */
    void (*opt_decoding)(void *context, double takes);
    void *context;
    struct ticker *opt_ticker; /* hidden before something is told */
    bool stopped;              /* out: Ctrl-C came (interrupt.h) and the parts that are left wait */
} judge_watch;

/* Unless quiet, a terminal shows that it goes on. Without a watch it is not stopped. */
bool judge_singer(journal *j, const char *singer, judge_watch *opt_watch, bool quiet, err *e);
/* Ctrl-C that comes while it is held stops it between two parts, as a failure. */
bool judge_everybody(journal *j, bool quiet, err *e);

#endif
