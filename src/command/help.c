/* SPDX-License-Identifier: GPL-3.0-or-later */
/* help: what --help prints, of the program or of one command, or its manual page. */
#include "command/command.h"
#include "command/manual.h"

typedef struct settings {
    bool man;
} settings;

static const option options[] = {
    {"man", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(settings, man),
     "as a manual page, in the format of man"},
};

static int run(const command_call *call, err *e)
{
    const settings *s = call->settings;
    const command *c = NULL;
    if (call->n && !(c = command_named(call->operands[0]))) {
        command_refuse(call->operands[0], e);
        return EXIT_USAGE;
    }
    if (s->man)
        manual_print(c, stdout);
    else if (c)
        command_print(c, stdout);
    else
        commands_print(stdout);
    return EXIT_DONE;
}

const command command_help = {
    .name = "help",
    .summary = "what the commands do and which options they have",
    .usage = "[COMMAND]",
    .detail = "Without a COMMAND, lists them all.",
    .examples = "seamline help\nseamline help map",
    .most = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .run = run,
};
