/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Finds the command, reads its options, runs it, says what went wrong: no other file ends the
 * program with an error. */
#include "base/array.h"
#include "base/memory.h"
#include "command/command.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int usage(const command *c, err *e)
{
    bool named = c && c != command_named("help");
    message_warn("%s Try: seamline help%s%s", e->text, named ? " " : "", named ? c->name : "");
    return EXIT_USAGE;
}

static bool check_operands(const command *c, size_t n, const char *const *items, err *e)
{
    const char *dot = *c->usage && c->usage[strlen(c->usage) - 1] == '.' ? "" : ".";
    if (n < c->least)
        return err_set(e, "%s wants %s%s", c->name, c->usage, dot);
    if (n && !*c->usage)
        return err_set(e, "%s takes no operands.", c->name);
    for (size_t i = 0; i < n && !c->hidden; i++)
        if (!*items[i])
            return err_set(e, "An operand of %s is empty; it wants %s%s", c->name, c->usage, dot);
    if (c->most && n > c->most)
        return err_set(e, "%s takes %s, but %zu operands were given.", c->name, c->usage, n);
    return true;
}

static int run(const command *c, const shared_settings *shared, void *settings, const operands *ops)
{
    err e = {""};
    if (!check_operands(c, ops->n, ops->items, &e))
        return usage(c, &e);
    command_call call = {c, shared, settings, ops->n, ops->items};
    int code = c->run(&call, &e);
    if (code == EXIT_USAGE)
        return usage(c, &e);
    if (code != EXIT_DONE && *e.text)
        message_warn("%s", e.text);
    return code;
}

static int show(const command *c, const shared_settings *shared)
{
    if (shared->version)
        command_versions(stdout);
    else if (c)
        command_print(c, stdout);
    else
        commands_print(stdout);
    return EXIT_DONE;
}

static int call_command(const command *c, shared_settings *shared, size_t n, char *const *args)
{
    err e = {""};
    void *settings = xcalloc(c->settings_size, 1);
    if (c->defaults)
        c->defaults(settings);
    option_group groups[] = {{c->options, c->n_options, settings},
                             {shared_options, n_shared_options, shared}};
    operands ops = {0};
    int code;
    if (!options_read(groups, 2, n, args, OPTIONS_TO_END, &ops, &e))
        code = usage(c, &e);
    else if (shared->help || shared->version)
        code = show(c, shared);
    else
        code = run(c, shared, settings, &ops);
    free(ops.items);
    free(settings);
    return code;
}

static int refuse_command(const char *typed)
{
    err e;
    command_refuse(typed, &e);
    return usage(NULL, &e);
}

static int dispatch(size_t n, char *const *args)
{
    err e = {""};
    shared_settings shared = shared_defaults();
    option_group group = {shared_options, n_shared_options, &shared};
    operands ops = {0};
    int code;
    if (!options_read(&group, 1, n, args, OPTIONS_TO_OPERAND, &ops, &e)) {
        code = usage(NULL, &e);
    } else if (shared.version || (shared.help && !ops.n)) {
        code = show(NULL, &shared);
    } else if (!ops.n) {
        err_set(&e, "Name a command.");
        code = usage(NULL, &e);
    } else {
        const command *c = command_named(ops.items[0]);
        size_t first = n - ops.n + 1;
        code = c ? call_command(c, &shared, n - first, args + first) : refuse_command(ops.items[0]);
    }
    free(ops.items);
    return code;
}

int main(int argc, char **argv)
{
    memory_keep();
    int code = dispatch(argc > 0 ? (size_t)argc - 1 : 0, argv + 1);
    errno = 0;
    bool written = fflush(stdout) == 0 && !ferror(stdout);
    if (!written && code == EXIT_DONE) { /* a command that failed has said why */
        message_warn("The result could not be written%s%s.", errno ? ": " : "",
                     errno ? strerror(errno) : "");
        code = EXIT_INPUT;
    }
    return code;
}
