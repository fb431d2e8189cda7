/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_CARE_H
#define JOURNAL_CARE_H

/* Care of the journal's file. */

#include "journal/journal.h"

/* Called for each fault: what is wrong with what, a sentence without its full stop. */
typedef void care_fault(void *context, const char *what);

typedef struct care_count {
    size_t singers, takes, frames, faults;
    size_t waiting; /* singers with takes that wait for their registers: no fault */
} care_count;

/* Reads everything: SQLite's own check, references between tables, that the frames of every take
 * are those that were stored (by their digest, where there is one) and can be read, and that its
 * name is that of its sound. False when the file cannot be read to its end, which *e says. */
bool care_verify(journal *j, const char *version, care_fault *fault, void *context,
                 care_count *count, err *e);

/* What can still be read of a damaged journal (path NULL: where it is by default), into a new one.
 * Takes whose frames are gone or changed are left out: *lost, as far as their rows are known. */
bool care_recover(const char *path_or_null, const char *to, size_t *takes, size_t *lost, err *e);

/* A copy as of one moment, also while others write, under a name that must be free, mode 0600. */
bool care_backup(journal *j, const char *path, err *e);

/* Gives a singer another name, which must be free. The names of takes follow from it, so they
 * change, too. */
bool care_rename(journal *j, const char *from, const char *to, err *e);

/* Takes a take out of everything that is told and fitted, or brings it back. */
bool care_remove(journal *j, const char *code, bool removed, err *e);

/* Takes everything of another journal in. Singers are one by name, takes by code; of two hearings
 * of a take one stays, by what they say and not by where they lie; corrections and removals join.
 * So the order in which journals are merged does not matter, nor how often. What a singer's takes
 * tell is copied for singers who are new here; the others wait for their registers. */
bool care_merge(journal *j, const char *path, size_t *new_takes, err *e);

/* Erases a singer with all takes, and overwrites what they were in the file. */
bool care_forget(journal *j, const char *singer, err *e);

#endif
