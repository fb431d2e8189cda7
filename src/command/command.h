/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_COMMAND_H
#define COMMAND_COMMAND_H

/* A command of the program: what it is called, what it takes, what it does.
 *
 * To add one: a file src/command/NAME.c that defines `const command command_NAME`, and its name in
 * the list of commands.c. Options, operands, help, manual page and completion are read from this
 * struct. */

#include "base/message.h"
#include "base/options.h"
#include "base/table.h"

#include <stddef.h>

#define SEAMLINE_VERSION "0.1.0"
#define SEAMLINE_DATE "2026-11-25" /* of this version, for the manual */

enum exit_code {
    EXIT_DONE = 0,
    EXIT_INPUT = 1,    /* input or I/O failed */
    EXIT_USAGE = 2,    /* the command line is not understood */
    EXIT_NO_ANSWER = 3 /* the data give no answer */
};

/* Options that every command has. */
typedef struct shared_settings {
    const char *journal; /* NULL: journal_path() says where */
    int format;          /* table_format */
    bool quiet;
    double a4_hz; /* moves note names alone */
    bool help, version;
} shared_settings;
extern const option shared_options[];
extern const size_t n_shared_options;
shared_settings shared_defaults(void);

typedef struct command command;

typedef struct command_call {
    const command *self;
    const shared_settings *shared;
    void *settings; /* the command's own struct, defaults and options filled in */
    size_t n;
    const char *const *operands; /* [n] */
} command_call;

struct command {
    const char *name;
    const char *summary;   /* one phrase for the list of commands */
    const char *usage;     /* operands as in "SINGER FILE..." */
    const char *detail;    /* paragraphs for its own help, or NULL; a line that begins with two
                              blanks stays as it is */
    const char *examples;  /* command lines, one a line; tests run them (tests/test_docs.c) */
    const char *words;     /* "a|b": what the operand VERB or ACTION may be, else NULL */
    bool hidden;           /* for scripts: in no list and without a page */
    size_t least, most;    /* how many operands; most = 0: any number, or none when usage is "" */
    const option *options; /* of its own */
    size_t n_options;
    size_t settings_size;             /* 0: no settings */
    void (*defaults)(void *settings); /* NULL: all zero */
    /* Prints the result on stdout; returns an exit_code. Unless that is EXIT_DONE, *e holds the
     * sentence to print, or is empty when everything has been said by message_warn(). */
    int (*run)(const command_call *call, err *e);
};

/* The result's table on stdout in the format asked for, with the notes that every result carries:
 * version, command, input and the effective settings. */
table_writer *command_table(const command_call *call, const char *columns);
/* Those notes alone, for a writer of the command's own. */
void command_notes(const command_call *call, table_writer *w);

extern const command *const commands[];         /* in the order of the help; ends with NULL */
const command *command_named(const char *name); /* NULL when there is none */
/* There is no such command; false with a sentence that names the nearest. */
bool command_refuse(const char *typed, err *e);
void commands_print(FILE *out);                  /* the help of the program */
void command_print(const command *c, FILE *out); /* the help of one command */
void command_versions(FILE *out); /* of the program, and of the libraries that it runs with */

#endif
