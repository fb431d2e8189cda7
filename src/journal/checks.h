/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef JOURNAL_CHECKS_H
#define JOURNAL_CHECKS_H

/* What the checks of a take's recording found. A check that could not be judged has no row. */

#include "journal/journal.h"
#include "voice/checkup.h"

/* Stores them with the take in row `id`. */
bool checks_store(const journal *j, long id, const checkup *found, err *e);

typedef struct journal_check {
    char *name, *result, *unit, *remedy; /* as in voice/checkup.h; remedy "" when passed */
    double figure;                       /* NaN where it is not finite */
} journal_check;

/* Of the take with that code, as it is shown, by name; none when its recording was not checked. */
bool journal_checks(journal *j, const char *code, journal_check **items, size_t *n, err *e);
void journal_checks_free(journal_check *items, size_t n);

#endif
