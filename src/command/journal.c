/* SPDX-License-Identifier: GPL-3.0-or-later */
/* journal VERB: care of the journal's file. */
#include "base/text.h"
#include "command/command.h"
#include "command/interrupt.h"
#include "command/judge.h"
#include "command/take_cells.h"
#include "journal/care.h"
#include "journal/store.h"

#include <stdio.h>
#include <string.h>
#include <unistd.h>

typedef struct settings {
    bool yes;
} settings;

static const option options[] = {
    {"yes", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(settings, yes),
     "do not ask before removing or forgetting"},
};

typedef struct care {
    const command_call *call;
    journal *j;
} care;

/* What a verb was given, from its first operand on. */
static const char *given(const care *c, size_t i)
{
    return c->call->operands[i + 1];
}

/* Asks on the terminal; where there is none, --yes has to say it. */
static bool agreed(const care *c, const char *question, err *e)
{
    char answer[16] = "";
    const settings *s = c->call->settings;
    if (s->yes)
        return true;
    if (!isatty(STDIN_FILENO) || !isatty(STDERR_FILENO))
        return err_set(e, "%s Say --yes.", question);
    fprintf(stderr, "%s [y/N] ", question);
    if (fgets(answer, sizeof answer, stdin) && (answer[0] == 'y' || answer[0] == 'Y'))
        return true;
    return err_set(e, "Nothing was done.");
}

static int finish(table_writer *w, bool fine, err *e)
{
    return table_writer_close(w, e) && fine ? EXIT_DONE : EXIT_INPUT;
}

typedef struct findings {
    table_writer *w;
    size_t n;
} findings;

static void write_fault(void *context, const char *what)
{
    findings *f = context;
    table_text(f->w, what);
    f->n++;
}

static int verify(const care *c, err *e)
{
    care_count count;
    findings f = {.w = command_table(c->call, "fault")};
    bool read = care_verify(c->j, SEAMLINE_VERSION, write_fault, &f, &count, e);
    if (read && !count.faults)
        message_warn("The journal is sound: %zu singers, %zu takes, %zu frames.", count.singers,
                     count.takes, count.frames);
    if (read && count.waiting)
        message_warn("%zu singers have takes whose registers are not decoded as they would be now; "
                     "adding any take of theirs does it.",
                     count.waiting);
    if (read && count.faults)
        err_set(e,
                "The journal has %zu faults: \"seamline journal recover NEW\" saves what can be "
                "read.",
                count.faults);
    err unwritten;
    return finish(f.w, read && !count.faults, read && !count.faults ? e : &unwritten);
}

static int backup(const care *c, err *e)
{
    if (!care_backup(c->j, given(c, 0), e))
        return EXIT_INPUT;
    table_writer *w = command_table(c->call, "backup");
    table_text(w, given(c, 0));
    return finish(w, true, e);
}

static bool rename_to(journal *j, const void *a_care, err *e)
{
    const care *c = a_care;
    return care_rename(j, given(c, 0), given(c, 1), e);
}

static int rename_singer(const care *c, err *e)
{
    interrupt_hold();
    if (!judge_change(c->j, given(c, 1), rename_to, c, c->call->shared->quiet, e))
        return EXIT_INPUT;
    table_writer *w = command_table(c->call, "singer was");
    table_text(w, given(c, 1));
    table_text(w, given(c, 0));
    return finish(w, true, e);
}

static int print_take(const care *c, const journal_take *t, const char *state, err *e)
{
    table_writer *w = command_table(c->call, "take file singer date state");
    table_text(w, t->take);
    cell_file(w, t);
    table_text(w, t->singer);
    table_text(w, t->date);
    table_text(w, state);
    return finish(w, true, e);
}

typedef struct removal {
    const char *code;
    bool removed;
} removal;

static bool remove_or_restore(journal *j, const void *a_removal, err *e)
{
    const removal *r = a_removal;
    return care_remove(j, r->code, r->removed, e);
}

static int change_take(const care *c, bool removed, err *e)
{
    journal_item item = {0};
    char question[256];
    int code = EXIT_INPUT;
    if (journal_named(c->j, given(c, 0), !removed, &item, e)) {
        snprintf(question, sizeof question, "Remove take %s, %.80s of %.80s?", item.take.take,
                 item.take.file, item.take.singer);
        bool sure = !removed || agreed(c, question, e);
        interrupt_hold();
        removal r = {item.take.code, removed};
        if (sure &&
            judge_change(c->j, item.take.singer, remove_or_restore, &r, c->call->shared->quiet, e))
            code = print_take(c, &item.take, removed ? "removed" : "restored", e);
    }
    journal_item_clear(&item);
    return code;
}

static int remove_take(const care *c, err *e)
{
    return change_take(c, true, e);
}

static int restore(const care *c, err *e)
{
    return change_take(c, false, e);
}

static int forget(const care *c, err *e)
{
    char question[256];
    snprintf(question, sizeof question, "Erase %.80s and all takes for good?", given(c, 0));
    if (!journal_knows(c->j, given(c, 0), e) || !agreed(c, question, e) ||
        !care_forget(c->j, given(c, 0), e))
        return EXIT_INPUT;
    table_writer *w = command_table(c->call, "singer state");
    table_text(w, given(c, 0));
    table_text(w, "forgotten");
    return finish(w, true, e);
}

/* The journal itself may be too damaged to be opened; what is saved is. */
static int recover(const care *c, err *e)
{
    size_t takes, lost;
    journal *j;
    if (!care_recover(c->call->shared->journal, given(c, 0), &takes, &lost, e) ||
        !journal_open(given(c, 0), JOURNAL_WRITE, &j, e))
        return EXIT_INPUT;
    bool fine = judge_everybody(j, c->call->shared->quiet, e);
    journal_close(j);
    if (!fine)
        return EXIT_INPUT;
    table_writer *w = command_table(c->call, "journal takes lost");
    table_text(w, given(c, 0));
    table_count(w, (long)takes);
    table_count(w, (long)lost);
    return finish(w, true, e);
}

/* With their operands, for completion. */
#define VERBS                                                                                      \
    "verify|backup FILE|recover FILE|rename SINGER NAME|remove TAKE|restore TAKE|forget SINGER"

static const struct verb {
    const char *name, *wants;
    size_t operands;
    journal_mode mode;
    int (*run)(const care *c, err *e);
    bool unopened;
} verbs[] = {
    {"verify", "no operands", 0, JOURNAL_READ, verify, false},
    {"backup", "FILE", 1, JOURNAL_READ, backup, false},
    {"recover", "FILE", 1, JOURNAL_READ, recover, true},
    {"rename", "SINGER NAME", 2, JOURNAL_WRITE, rename_singer, false},
    {"remove", "TAKE", 1, JOURNAL_WRITE, remove_take, false},
    {"restore", "TAKE", 1, JOURNAL_WRITE, restore, false},
    {"forget", "SINGER", 1, JOURNAL_WRITE, forget, false},
};

static const struct verb *verb_named(const char *name)
{
    for (size_t i = 0; i < sizeof verbs / sizeof *verbs; i++)
        if (strcmp(verbs[i].name, name) == 0)
            return &verbs[i];
    return NULL;
}

static int run(const command_call *call, err *e)
{
    const struct verb *v = verb_named(call->operands[0]);
    if (!v) {
        char end[TEXT_HINT_SIZE];
        text_hint(call->operands[0], VERBS, end);
        err_set(e,
                "The journal can verify, backup, recover, rename, remove, restore and forget, not "
                "\"%s\"%s",
                call->operands[0], end);
        return EXIT_USAGE;
    }
    if (call->n != v->operands + 1) {
        err_set(e, "journal %s wants %s.", v->name, v->wants);
        return EXIT_USAGE;
    }
    care c = {.call = call};
    if (v->unopened)
        return v->run(&c, e);
    /* A journal that is not there is not begun for a care it does not need. */
    if (v->mode == JOURNAL_WRITE) {
        if (!journal_open(call->shared->journal, JOURNAL_READ, &c.j, e))
            return EXIT_INPUT;
        journal_close(c.j);
    }
    if (!journal_open(call->shared->journal, v->mode, &c.j, e))
        return EXIT_INPUT;
    int code = v->run(&c, e);
    journal_close(c.j);
    return code;
}

const command command_journal = {
    .name = "journal",
    .summary = "care of the journal: verify, backup, recover, rename, remove, restore, forget",
    .usage = "VERB [OPERAND...]",
    .detail =
        "  verify              reads everything and prints a row for each fault\n"
        "  backup FILE         a copy as of now, also while others write\n"
        "  recover FILE        saves what can be read of a damaged journal into a new one, FILE\n"
        "  rename SINGER NAME  gives a singer another name; the names of takes change with it\n"
        "  remove TAKE         takes a take out of all that is told; restore brings it back\n"
        "  restore TAKE        brings back a take that was removed\n"
        "  forget SINGER       erases a singer with all takes and overwrites them in the file;\n"
        "                      copies of the file are yours to erase\n\n"
        "remove and forget ask first, unless --yes is said.",
    .words = VERBS,
    .examples = "seamline journal verify\n"
                "seamline journal backup copy.db\n"
                "seamline journal remove 4be27d4ffb --yes\n"
                "seamline journal rename robin linnet",
    .least = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(settings),
    .run = run,
};
