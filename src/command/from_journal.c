/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/from_journal.h"

#include "command/plane_gain.h"

int with_journal(const command_call *call, journal_work *work, err *e)
{
    journal *j;
    if (!journal_open(call->shared->journal, JOURNAL_READ, &j, e))
        return EXIT_INPUT;
    int code = work(call, j, e);
    journal_close(j);
    return code;
}

bool load_plane(journal *j, const char *singer, const char *vowel_or_null, int gain, plane *out,
                err *e)
{
    if (!plane_load(j, singer, vowel_or_null, out, e))
        return false;
    plane_gain(out, gain);
    return true;
}

bool singer_plane(const command_call *call, const char *vowel_or_null, int gain, plane *out, err *e)
{
    journal *j;
    if (!journal_open(call->shared->journal, JOURNAL_READ, &j, e))
        return false;
    bool fine = load_plane(j, call->operands[0], vowel_or_null, gain, out, e);
    journal_close(j);
    return fine;
}
