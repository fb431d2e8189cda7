/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_OPTIONS_H
#define BASE_OPTIONS_H

/* Options of a command line. One row of a table gives parsing, range check, help text and the
 * provenance note in the result.
 *
 * "--name value" and "--name=value" (and "-o value", "-ovalue" where a row has a letter) may stand
 * before or after the operands; "--" ends the options; "-" alone is an operand. The last of a
 * repeated option counts. Settings are a plain struct with its defaults filled in beforehand; each
 * row says where in it the value goes. */

#include "base/message.h"
#include "base/note.h"
#include "base/table.h"

#include <stddef.h>

typedef enum option_kind {
    OPTION_FLAG,   /* bool: set by its presence */
    OPTION_TEXT,   /* const char *, borrowed from the command line */
    OPTION_PATH,   /* the same for a file that is not part of what the result depends on: no note */
    OPTION_NUMBER, /* double within [least, most]; NaN: not stated */
    OPTION_WHOLE,  /* int within [least, most]; outside: not stated */
    OPTION_PITCH,  /* note_typed within [least, most] semitones; NaN: not stated */
    OPTION_CHOICE, /* int: index of the word among `words` */
    OPTION_SET     /* int: bits of the words named, parted by commas; 0 "none"; -1 not stated */
} option_kind;

typedef struct option {
    const char *name; /* without the dashes */
    char letter;      /* 'o' for -o, or 0 */
    option_kind kind;
    const char *value; /* what the help calls the value: "DB"; NULL for a flag */
    const char *words; /* "tsv|json" for a choice or a set, else NULL */
    double least, most;
    size_t offset;    /* offsetof(settings, field) */
    const char *help; /* one phrase, lower case, no full stop */
} option;

typedef struct option_group {
    const option *items;
    size_t n;
    void *settings;
} option_group;

typedef struct operands {
    size_t n, room;
    const char **items; /* borrowed from the command line; free(items) */
} operands;

typedef enum options_stop {
    OPTIONS_TO_END,    /* read everything */
    OPTIONS_TO_OPERAND /* from the first operand on all arguments are operands, unread */
} options_stop;

/* Reads args[n] into the groups' settings and the operands into *out (empty before). False with a
 * sentence that names the option, what it takes and, for an unknown one, the nearest known. */
bool options_read(const option_group *groups, size_t n_groups, size_t n, char *const *args,
                  options_stop stop, operands *out, err *e);

/* One value from elsewhere, such as a cell of a table, read and checked as this row says; `where`
 * begins the sentence: "takes.tsv line 3: hold". */
bool option_value_read(const option *o, const char *text, const char *where, void *settings,
                       err *e);

/* The row by name, or NULL. */
const option *option_named(const option_group *group, const char *name);

/* One line an option, aligned. */
void options_print(const option_group *group, FILE *out);
/* Every setting that is stated or has a default, as notes "name value", with _ for - in names. */
void options_note(const option_group *group, table_writer *w);

#endif
