/* SPDX-License-Identifier: GPL-3.0-or-later */
/* merge JOURNAL...: other journals into this one. */
#include "command/command.h"
#include "command/interrupt.h"
#include "command/judge.h"
#include "journal/care.h"

static int run(const command_call *call, err *e)
{
    journal *j;
    size_t taken = 0;
    if (!journal_open(call->shared->journal, JOURNAL_WRITE, &j, e))
        return EXIT_INPUT;
    interrupt_hold();
    table_writer *w = command_table(call, "journal takes");
    bool fine = true;
    for (size_t i = 0; fine && i < call->n; i++) {
        fine = care_merge(j, call->operands[i], &taken, e);
        if (!fine)
            break;
        table_text(w, call->operands[i]);
        table_count(w, (long)taken);
    }
    fine = fine && judge_everybody(j, call->shared->quiet, e);
    journal_close(j);
    err unwritten;
    bool written = table_writer_close(w, fine ? e : &unwritten);
    return fine && written ? EXIT_DONE : EXIT_INPUT;
}

const command command_merge = {
    .name = "merge",
    .summary = "other journals into this one",
    .usage = "JOURNAL...",
    .detail =
        "Takes every singer, take and correction of the other journals in, and prints how many\n"
        "takes of each were new or said more. Singers are one by their names. The order in which\n"
        "journals are merged does not matter, nor how often. A take that was removed in either is\n"
        "removed, and comes back where it was restored later.",
    .examples = "seamline merge shard-1.db shard-2.db",
    .least = 1,
    .run = run,
};
