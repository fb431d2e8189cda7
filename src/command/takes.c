/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/command.h"
#include "command/from_journal.h"
#include "command/take_cells.h"
#include "journal/journal.h"

typedef struct takes_settings {
    const char *vowel; /* NULL: all */
    bool checks;       /* of each take's recording, in place of the takes */
} takes_settings;

static const option options[] = {
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(takes_settings, vowel),
     "only takes of this vowel"},
    {"checks", 0, OPTION_FLAG, NULL, NULL, 0, 0, offsetof(takes_settings, checks),
     "a row for each check of each take's recording instead"},
};

static void write_take(table_writer *w, const journal_take *t)
{
    table_text(w, t->take);
    cell_file(w, t);
    table_text(w, t->date);
    table_number(w, t->seconds, 3);
    table_count(w, (long)t->flips);
    table_count(w, (long)t->doubtful);
    table_text(w, t->vowel);
    cell_set(w, t->hold);
    cell_set(w, t->vary);
    cell_register(w, t->declared);
    table_number(w, t->leq_db, 1);
    cell_level_unit(w, t, "C");
    table_text(w, t->name);
    table_text(w, t->rig);
    table_number(w, t->voiced_s, 3);
    table_count(w, (long)t->clipped_runs);
    cell_levels(w, t);
    cell_channel(w, t->channel);
    cell_channel(w, t->egg_channel);
    cell_checks(w, t);
}

static bool write_checks(table_writer *w, journal *j, const journal_take *t, err *e)
{
    journal_check *checks;
    size_t n;
    if (!journal_checks(j, t->code, &checks, &n, e))
        return false;
    for (size_t i = 0; i < n; i++) {
        table_text(w, t->take);
        cell_file(w, t);
        table_text(w, t->date);
        cell_check(w, &checks[i]);
    }
    journal_checks_free(checks, n);
    return true;
}

static bool list_checks(const command_call *call, journal *j, const journal_take *takes, size_t n,
                        err *e)
{
    table_writer *w = command_table(call, "take file date " CHECK_COLUMNS);
    err unwritten;
    bool fine = true;
    for (size_t i = 0; fine && i < n; i++)
        fine = write_checks(w, j, &takes[i], e);
    return table_writer_close(w, fine ? e : &unwritten) && fine;
}

static bool list_takes(const command_call *call, const journal_take *takes, size_t n, err *e)
{
    table_writer *w = command_table(
        call, "take file date seconds flips doubtful vowel hold vary "
              "register level_db level_unit name rig voiced_s clipped " TAKE_LEVEL_COLUMNS
              " microphone egg " TAKE_CHECK_COLUMNS);
    take_level_notes(w);
    for (size_t i = 0; i < n; i++)
        write_take(w, &takes[i]);
    return table_writer_close(w, e);
}

static int list(const command_call *call, journal *j, err *e)
{
    const takes_settings *s = call->settings;
    journal_take *takes;
    size_t n;
    if (!journal_takes(j, call->operands[0], s->vowel, &takes, &n, e))
        return EXIT_INPUT;
    bool fine = s->checks ? list_checks(call, j, takes, n, e) : list_takes(call, takes, n, e);
    journal_takes_free(takes, n);
    if (s->vowel && n == 0)
        message_warn("%s has no takes on the vowel \"%s\".", call->operands[0], s->vowel);
    return fine ? EXIT_DONE : EXIT_INPUT;
}

static int run(const command_call *call, err *e)
{
    return with_journal(call, list, e);
}

const command command_takes = {
    .name = "takes",
    .summary = "a singer's takes in the journal",
    .usage = "SINGER",
    .detail =
        "A row per take, by date: asserted and doubtful flips, what was to be held and varied, "
        "the\nregister that was named, equivalent and largest levels of the whole take, and which "
        "checks of its\nrecording failed and warned; --checks tells what each measured.",
    .examples = "seamline takes robin\n"
                "seamline takes robin --checks",
    .least = 1,
    .most = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(takes_settings),
    .run = run,
};
