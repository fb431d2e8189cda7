/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/command.h"
#include "command/from_journal.h"
#include "journal/journal.h"

static void write_singer(table_writer *w, const journal_singer *s)
{
    table_text(w, s->name);
    table_count(w, (long)s->sessions);
    table_count(w, (long)s->takes);
    table_count(w, (long)s->flips);
    table_text(w, s->first);
    table_text(w, s->last);
    table_text(w, s->notes);
}

static int list(const command_call *call, journal *j, err *e)
{
    journal_singer *singers;
    size_t n;
    if (!journal_singers(j, &singers, &n, e))
        return EXIT_INPUT;
    table_writer *w = command_table(call, "singer sessions takes flips first last notes");
    for (size_t i = 0; i < n; i++)
        write_singer(w, &singers[i]);
    journal_singers_free(singers, n);
    return table_writer_close(w, e) ? EXIT_DONE : EXIT_INPUT;
}

static int run(const command_call *call, err *e)
{
    return with_journal(call, list, e);
}

const command command_singers = {
    .name = "singers",
    .summary = "the singers in the journal",
    .usage = "",
    .detail = "A row per singer: sessions, takes, asserted flips, first and last date.",
    .examples = "seamline singers\n"
                "seamline singers --format json",
    .run = run,
};
