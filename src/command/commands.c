/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/command.h"

#include "base/array.h"
#include "base/text.h"

#include <stdlib.h>
#include <string.h>
#include <unistd.h>

/* Every command, in the order of the help: one line each. */
/* clang-format off */
#define COMMANDS(one) \
    one(check) \
    one(calibrate) \
    one(split) \
    one(analyse) \
    one(fit) \
    one(add) \
    one(singers) \
    one(takes) \
    one(held) \
    one(sheet) \
    one(correct) \
    one(map) \
    one(progress) \
    one(compare) \
    one(next) \
    one(report) \
    one(export) \
    one(merge) \
    one(journal) \
    one(help) \
    one(complete)
/* clang-format on */

#define DECLARE(name) extern const command command_##name;
#define LIST(name) &command_##name,
COMMANDS(DECLARE)
const command *const commands[] = {COMMANDS(LIST) NULL};

const option shared_options[] = {
    {"journal", 0, OPTION_PATH, "FILE", NULL, 0, 0, offsetof(shared_settings, journal),
     "the journal (else $SEAMLINE_JOURNAL, else the user's data folder)"},
    {"format", 0, OPTION_CHOICE, "tsv|json|text", "tsv|json|text", 0, 0,
     offsetof(shared_settings, format), "how results are printed (tsv; on a terminal text)"},
    {"quiet", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(shared_settings, quiet),
     "no progress on the terminal"},
    {"a4", 0, OPTION_NUMBER, "HZ", NULL, 300, 600, offsetof(shared_settings, a4_hz),
     "the tuning of A4, for note names (440)"},
    {"help", 'h', OPTION_FLAG, NULL, NULL, 0, 0, offsetof(shared_settings, help), "this help"},
    {"version", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(shared_settings, version),
     "versions of the program and its libraries"},
};
const size_t n_shared_options = sizeof shared_options / sizeof *shared_options;

shared_settings shared_defaults(void)
{
    return (shared_settings){.format = isatty(STDOUT_FILENO) ? TABLE_TEXT : TABLE_TSV,
                             .a4_hz = 440};
}

const command *command_named(const char *name)
{
    for (size_t i = 0; commands[i]; i++)
        if (strcmp(commands[i]->name, name) == 0)
            return commands[i];
    return NULL;
}

static const char *nearest(const char *typed)
{
    size_t n = 0;
    while (commands[n])
        n++;
    const char **names = xmalloc(n, sizeof *names);
    n = 0;
    for (size_t i = 0; commands[i]; i++)
        if (!commands[i]->hidden)
            names[n++] = commands[i]->name;
    const char *near = text_nearest(typed, names, n);
    free(names);
    return near;
}

bool command_refuse(const char *typed, err *e)
{
    const char *near = nearest(typed);
    return near ? err_set(e, "There is no command \"%s\"; did you mean %s?", typed, near)
                : err_set(e, "There is no command \"%s\".", typed);
}

static void note_input(const command_call *call, table_writer *w)
{
    char *input = xstrdup("");
    for (size_t i = 0; i < call->n; i++) {
        char *longer = xformat("%s%s%s", input, i ? " " : "", call->operands[i]);
        free(input);
        input = longer;
    }
    if (*input)
        table_note(w, "input", "%s", input);
    free(input);
}

void command_notes(const command_call *call, table_writer *w)
{
    const command *c = call->self;
    table_note(w, "seamline", "%s", SEAMLINE_VERSION);
    table_note(w, "command", "%s", c->name);
    note_input(call, w);
    option_group own = {c->options, c->n_options, call->settings};
    options_note(&own, w);
}

table_writer *command_table(const command_call *call, const char *columns)
{
    table_writer *w = table_writer_new(stdout, (table_format)call->shared->format, columns);
    command_notes(call, w);
    return w;
}

static void print_shared(FILE *out)
{
    option_group shared = {shared_options, n_shared_options, NULL};
    fputs("\nOptions of every command, before or after the operands:\n", out);
    options_print(&shared, out);
}

void commands_print(FILE *out)
{
    fputs("seamline keeps the map of where a singing voice flips between its registers.\n\n"
          "Usage: seamline COMMAND [OPTION...] [OPERAND...]\n\nCommands:\n",
          out);
    for (size_t i = 0; commands[i]; i++)
        if (!commands[i]->hidden) {
            char first[32];
            snprintf(first, sizeof first, "  %-12s", commands[i]->name);
            text_wrap(out, first, strlen(first), commands[i]->summary);
        }
    print_shared(out);
    fputs("\nExit: 0 done, 1 input or I/O failed, 2 usage, 3 the data give no answer.\n"
          "seamline help COMMAND tells more of one, man seamline of all.\n",
          out);
}

static void print_examples(const command *c, FILE *out)
{
    fputs("\nExamples:\n", out);
    for (const char *line = c->examples; *line; line += strcspn(line, "\n"), line += *line == '\n')
        fprintf(out, "  %.*s\n", (int)strcspn(line, "\n"), line);
}

/* Lines flow into each other, but for empty ones and those that begin with a blank. */
static void print_detail(const char *detail, FILE *out)
{
    char *text = xstrdup(detail), *end;
    for (char *line = text; (end = strchr(line, '\n')); line = end + 1)
        if (*line != ' ' && line != end && end[1] != ' ' && end[1] != '\n')
            *end = ' ';
    fputc('\n', out);
    text_wrap(out, "", 0, text);
    free(text);
}

void command_print(const command *c, FILE *out)
{
    char *first = xformat("seamline %s: ", c->name), *summary = xformat("%s.", c->summary);
    text_wrap(out, first, 0, summary);
    free(first);
    free(summary);
    fprintf(out, "\nUsage: seamline %s [OPTION...]%s%s\n", c->name, *c->usage ? " " : "", c->usage);
    if (c->detail)
        print_detail(c->detail, out);
    if (c->n_options) {
        option_group own = {c->options, c->n_options, NULL};
        fputs("\nOptions:\n", out);
        options_print(&own, out);
    }
    print_shared(out);
    if (c->examples)
        print_examples(c, out);
}
