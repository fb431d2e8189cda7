/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_JUDGE_H
#define COMMAND_JUDGE_H

/* The registers of a singer's takes that wait for judgement, decoded with those that they hang
 * together with (journal/judgement.h). What there is to tell, such as that one register alone was
 * heard, goes to stderr. Other processes may read and write meanwhile; each part that is decoded is
 * stored at once, as a whole or not at all. */

#include "journal/journal.h"

/* Unless quiet, a terminal shows that it goes on. */
bool judge_singer(journal *j, const char *singer, bool quiet, err *e);
bool judge_everybody(journal *j, bool quiet, err *e);

#endif
