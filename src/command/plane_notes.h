/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_PLANE_NOTES_H
#define COMMAND_PLANE_NOTES_H

/* What a table over a singer's plane says before its rows: the vowel unless it was asked for, the
 * scale of levels, how many sessions and takes, and how many takes were left out and why. */

#include "base/table.h"
#include "journal/plane.h"

void plane_notes(const plane *p, const char *vowel_or_null, table_writer *w);
/* A note "says" for each line of the words. */
void plane_notes_say(const char *words, table_writer *w);

#endif
