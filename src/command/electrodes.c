/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/electrodes.h"

#include "base/array.h"
#include "command/egg_cells.h"
#include "journal/store.h"

#include <stdlib.h>
#include <string.h>

typedef struct member { /* of a session, as the journal has it */
    long session;
    int egg_channel, microphone;
    bool agreed; /* its session was looked at */
} member;

static bool read_member(journal *j, const hear_result *heard, member *m, err *e)
{
    journal_take t;
    bool found;
    if (!journal_find(j, heard->code, &t, &found, e))
        return false;
    if (!found)
        return err_set(e, "A take that was just heard is not in the journal any more.");
    *m = (member){t.session, t.egg_channel, t.microphone, false};
    journal_take_clear(&t);
    return true;
}

static bool is_of_call(const char *code, const hear_result *const *heard, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (strcmp(heard[i]->code, code) == 0)
            return true;
    return false;
}

static electrodes wanted(const egg_heard *all, const member *m, const hear_result *heard)
{
    int channel = egg_elsewhere(all);
    electrodes none = {0, EGG_UNKNOWN}, others = {channel, egg_agreed(all)};
    if (channel && !m->egg_channel && heard->channels >= channel && m->microphone != channel)
        return others;
    others.channel = 0;
    return heard->unclear ? others : none;
}

/* The session of the i-th take. */
static void agree(const hear_result *const *heard, member *members, size_t n, size_t i,
                  const journal_take *kept, size_t n_kept, electrodes *out)
{
    enum { SEVERAL = 2 }; /* channels: how many an earlier take has is not known */
    long session = members[i].session;
    egg_heard all = {0};
    for (size_t k = 0; k < n_kept; k++)
        if (kept[k].session == session && !kept[k].removed && !is_of_call(kept[k].code, heard, n))
            egg_hear(&all, &(voice_whole){.channels = SEVERAL, .egg = kept[k].egg_channel});
    for (size_t k = i; k < n; k++)
        if (members[k].session == session)
            egg_hear(&all, &(voice_whole){.channels = heard[k]->channels,
                                          .egg = members[k].egg_channel,
                                          .contact = heard[k]->contact});
    for (size_t k = i; k < n; k++)
        if (members[k].session == session) {
            out[k] = wanted(&all, &members[k], heard[k]);
            members[k].agreed = true;
        }
}

bool electrodes_agree(journal *j, const char *singer, const hear_result *const *heard, size_t n,
                      electrodes *out, err *e)
{
    journal_take *kept = NULL;
    size_t n_kept = 0;
    member *members = xcalloc(n, sizeof *members);
    bool fine = n == 0 || journal_kept(j, singer, &kept, &n_kept, e);
    for (size_t i = 0; i < n && fine; i++)
        fine = read_member(j, heard[i], &members[i], e);
    for (size_t i = 0; i < n && fine; i++)
        if (!members[i].agreed)
            agree(heard, members, n, i, kept, n_kept, out);
    journal_takes_free(kept, n_kept);
    free(members);
    return fine;
}
