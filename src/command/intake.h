/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_INTAKE_H
#define COMMAND_INTAKE_H

/* What is to be added to the journal: recordings, and what is said of each on the command line or
 * in a table. */

#include "base/message.h"
#include "base/options.h"
#include "command/recorded.h"
#include "voice/track.h"

#include <stddef.h>

/* What may be said of a recording; NULL, NaN and -1 where nothing is. */
typedef struct statement {
    const char *date, *rig, *name, *vowel;
    recorded how;
    int hold, vary;
    int declared; /* 0 M1, 1 M2 */
    int contact;  /* an egg_way */
    /* for the command line alone */
    const char *table; /* where more is said */
    bool split;        /* recordings are whole lessons (command/intake_split.h) */
} statement;

statement statement_none(void);
/* As option rows, for the command line; intake_list() reads cells by the same rows. */
enum { STATEMENT_OPTIONS = 14 };
extern const option statement_options[STATEMENT_OPTIONS];

typedef struct intake {
    char *singer, *file; /* file: as sound/recording.h takes it */
    statement said;      /* texts borrowed from the command line or from the table */
} intake;

typedef struct intake_list {
    size_t n, room;
    intake *items;
    struct table *table; /* or NULL */
} intake_list;

/* SINGER FILE... with the same statement for all, a folder standing for the recordings in it, and
 * then the rows of the table, if there is one: a row's cells go before the statement. A row is
 * passed over when its cell `drop` holds anything but "no" or 0. Its file is looked for from here,
 * then from the table's folder; cells start_s and end_s name a stretch. `singer` is for rows that
 * name none, and may be NULL. */
bool intake_read(const char *singer, const char *const *files, size_t n_files,
                 const statement *said, intake_list *out, err *e);
void intake_clear(intake_list *l);

void intake_append(intake_list *l, const char *singer, const char *file, const statement *said);
/* The cells of a row go before what `said` holds; texts are borrowed from the table. */
bool intake_row_read(const struct table *t, size_t row, statement *said, err *e);
bool intake_row_dropped(const struct table *t, size_t row);

#endif
