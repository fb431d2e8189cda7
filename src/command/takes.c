/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/command.h"
#include "command/take_cells.h"
#include "journal/journal.h"

typedef struct takes_settings {
    const char *vowel; /* NULL: all */
} takes_settings;

static const option options[] = {
    {"vowel", 0, OPTION_TEXT, "V", NULL, 0, 0, offsetof(takes_settings, vowel),
     "only takes of this vowel"},
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
}

static int run(const command_call *call, err *e)
{
    const takes_settings *s = call->settings;
    journal *j;
    journal_take *takes;
    size_t n;
    if (!journal_open(call->shared->journal, JOURNAL_READ, &j, e))
        return EXIT_INPUT;
    bool fine = journal_takes(j, call->operands[0], s->vowel, &takes, &n, e);
    journal_close(j);
    if (!fine)
        return EXIT_INPUT;
    table_writer *w = command_table(
        call, "take file date seconds flips doubtful vowel hold vary "
              "register level_db level_unit name rig voiced_s clipped " TAKE_LEVEL_COLUMNS
              " microphone egg");
    take_level_notes(w);
    for (size_t i = 0; i < n; i++)
        write_take(w, &takes[i]);
    journal_takes_free(takes, n);
    return table_writer_close(w, e) ? EXIT_DONE : EXIT_INPUT;
}

const command command_takes = {
    .name = "takes",
    .summary = "a singer's takes in the journal",
    .usage = "SINGER",
    .detail =
        "A row per take, by date: asserted and doubtful flips, what was to be held and varied, "
        "the\nregister that was named, and equivalent and largest levels of the whole take.",
    .least = 1,
    .most = 1,
    .options = options,
    .n_options = sizeof options / sizeof *options,
    .settings_size = sizeof(takes_settings),
    .run = run,
};
