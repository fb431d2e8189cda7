/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_JUDGE_H
#define COMMAND_JUDGE_H

/* The registers of a singer's takes that wait for judgement, and of all others of the same vowels:
 * the register model is the singer's. What there is to tell, such as that one register alone was
 * heard, goes to stderr. In one transaction: all of it is stored, or nothing. */

#include "journal/journal.h"

bool judge_singer(journal *j, const char *singer, err *e);

#endif
