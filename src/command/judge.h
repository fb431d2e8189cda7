/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_JUDGE_H
#define COMMAND_JUDGE_H

/* The registers of a singer's takes that wait for judgement, decoded with those that they hang
 * together with (journal/judgement.h). What there is to tell, such as that one register alone was
 * heard, goes to stderr. Other processes may read and write meanwhile. Ctrl-C that is held
 * (interrupt.h) stops it at once, and what is not stored by then is not. */

#include "journal/journal.h"

typedef struct judge_watch {
    void (*decoded)(void *context, size_t takes); /* called after each part, with its takes */
    /* Called meanwhile, with so many of them as are done by then; NULL: the part shows itself. */
    void (*opt_decoding)(void *context, double takes);
    void *context;
    struct ticker *opt_ticker; /* hidden before something is told */
    bool stopped;              /* out: Ctrl-C came, and the parts that are left wait */
} judge_watch;

/* Each part is stored as soon as it is decoded, as a whole or not at all. Unless quiet, a terminal
 * shows that it goes on. */
bool judge_singer(journal *j, const char *singer, judge_watch *watch, bool quiet, err *e);
/* All singers; to be stopped is a failure. */
bool judge_everybody(journal *j, bool quiet, err *e);

/* Changes what is known of takes, in a transaction that is open. */
typedef bool judge_changer(journal *j, const void *what, err *e);
/* The change and what it makes of the singer's registers, both or neither: to be stopped, or
 * killed, leaves the journal as it was. `change` is called again and again, with all that it did
 * before taken back. */
bool judge_change(journal *j, const char *singer, judge_changer *change, const void *what,
                  bool quiet, err *e);

#endif
