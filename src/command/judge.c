/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/judge.h"

#include "base/array.h"
#include "command/command.h"
#include "journal/store.h"
#include "register/decode.h"

#include <math.h>
#include <stdlib.h>

/* What an earlier judgement left must not matter to this one. */
static void forget_registers(track *t)
{
    for (size_t i = 0; i < t->n; i++) {
        t->reg[i] = 0;
        t->p_m2[i] = (double)NAN;
    }
}

static void decode(journal_item *items, size_t n, register_summary *summary)
{
    register_settings s = register_defaults();
    track **tracks = xmalloc(n, sizeof(track *));
    flips *found = xcalloc(n, sizeof *found);
    for (size_t i = 0; i < n; i++) {
        tracks[i] = items[i].track;
        forget_registers(items[i].track);
        flips_clear(&items[i].flips);
    }
    register_decode(tracks, n, &s, found, summary);
    for (size_t i = 0; i < n; i++)
        items[i].flips = found[i];
    free(found);
    free(tracks);
}

static void tell(const char *singer, const char *vowel, const register_summary *summary)
{
    if (summary->answer == REGISTER_BOTH || !*summary->text)
        return;
    if (*vowel)
        message_warn("%s, vowel %s: %s", singer, vowel, summary->text);
    else
        message_warn("%s: %s", singer, summary->text);
}

static bool judge_vowel(journal *j, const char *singer, const char *vowel, err *e)
{
    journal_item *items;
    size_t n;
    register_summary summary = {.answer = REGISTER_TOO_LITTLE};
    if (!journal_heard(j, singer, vowel, &items, &n, e))
        return false;
    if (n)
        decode(items, n, &summary);
    bool fine = journal_judge(j, singer, vowel, items, n, SEAMLINE_VERSION, summary.text, e);
    if (fine && n)
        tell(singer, vowel, &summary);
    journal_items_free(items, n);
    return fine;
}

static bool judge_waiting(journal *j, const char *singer, err *e)
{
    journal_vowel *vowels;
    size_t n;
    if (!journal_waiting(j, singer, &vowels, &n, e))
        return false;
    bool fine = true;
    for (size_t i = 0; fine && i < n; i++)
        fine = judge_vowel(j, singer, vowels[i].vowel, e);
    journal_vowels_free(vowels, n);
    return fine;
}

bool judge_singer(journal *j, const char *singer, err *e)
{
    if (!journal_begin(j, e))
        return false;
    if (judge_waiting(j, singer, e))
        return journal_commit(j, e);
    journal_rollback(j);
    return false;
}
