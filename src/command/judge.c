/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/judge.h"

#include "base/array.h"
#include "base/ticker.h"
#include "command/command.h"
#include "command/interrupt.h"
#include "journal/judgement.h"
#include "register/parts.h"

#include <stdio.h>
#include <stdlib.h>

/* So often a part is decoded for nothing, because another process changed what it rests on, before
 * that process has to wait. */
enum { PATIENCE = 3 };

static void state(void *context, size_t take, track *t)
{
    const judgement *g = context;
    verdicts_pin(&g->verdicts[take], t);
}

/* *parts: in how many pieces. */
static bool decode_stored(judgement *g, const register_settings *s, flips *found,
                          register_summary *summary, size_t *parts, err *e)
{
    parts_settings sizes = parts_defaults();
    sizes.opt_stated = state;
    sizes.context = g;
    return parts_decode(g->store, s, &sizes, found, summary, parts, e);
}

static void decode_together(const judgement *g, size_t n, const register_settings *s, flips *found,
                            register_summary *summary)
{
    track **tracks = xmalloc(n, sizeof(track *));
    for (size_t i = 0; i < n; i++)
        tracks[i] = g->items[i].track;
    register_decode(tracks, n, s, found, summary);
    free(tracks);
}

/* A part, and who watches it. */
typedef struct watched {
    const judge_watch *watch;
    size_t takes;
} watched;

static void show_part(void *whose, double share)
{
    const watched *w = whose;
    w->watch->opt_decoding(w->watch->context, share * (double)w->takes);
}

static bool decode(judgement *g, const judge_watch *opt_watch, bool quiet,
                   register_summary *summary, err *e)
{
    char what[80];
    register_settings s = register_defaults();
    s.opt_known = &g->before;
    s.opt_learnt = &g->learnt;
    size_t n = g->n_before + g->n, parts = 1;
    flips *found = xcalloc(n, sizeof *found);
    snprintf(what, sizeof what, "decoding the registers of %zu takes", g->n);
    ticker *t = ticker_new(what, 0, quiet);
    watched part = {opt_watch, g->n};
    effort shown = {.show = ticker_share, .whose = t, .to = 1};
    if (opt_watch && opt_watch->opt_decoding)
        shown = (effort){.show = show_part, .whose = &part, .to = 1};
    s.opt_effort = &shown;
    bool fine = true;
    if (g->store)
        fine = decode_stored(g, &s, found, summary, &parts, e);
    else
        decode_together(g, n, &s, found, summary);
    ticker_free(t);
    if (fine && parts > 1)
        message_warn("%s: %.0f minutes of voice are too much to be judged together: the registers "
                     "were told in %zu parts.",
                     g->singer, summary->voiced_s / 60, parts);
    for (size_t i = 0; i < n; i++)
        g->items[i].flips = found[i];
    free(found);
    return fine;
}

static void tell(const judgement *g, const register_summary *summary, const judge_watch *opt_watch)
{
    if (summary->answer == REGISTER_BOTH || !*summary->text)
        return;
    if (opt_watch && opt_watch->opt_ticker)
        ticker_hide(opt_watch->opt_ticker);
    if (*g->vowel)
        message_warn("%s, vowel %s: %s", g->singer, g->vowel, summary->text);
    else
        message_warn("%s: %s", g->singer, summary->text);
}

/* Decodes the next part, if there is any; *takes: so many are its own. */
static bool judge_next(journal *j, const char *singer, const judge_watch *opt_watch, bool quiet,
                       bool *any, size_t *takes, bool *stale, err *e)
{
    judgement g;
    register_summary summary;
    if (!judgement_next(j, singer, SEAMLINE_VERSION, &g, any, e))
        return false;
    if (!*any)
        return true;
    bool fine = decode(&g, opt_watch, quiet, &summary, e) &&
                judgement_store(j, &g, SEAMLINE_VERSION, summary.text, stale, e);
    if (fine && !*stale)
        tell(&g, &summary, opt_watch);
    *takes = g.n;
    judgement_clear(&g);
    return fine;
}

bool judge_singer(journal *j, const char *singer, judge_watch *opt_watch, bool quiet, err *e)
{
    bool any = true, stale;
    for (int lost = 0; any;) {
        bool alone = lost >= PATIENCE;
        size_t takes = 0;
        stale = false;
        if (opt_watch && (opt_watch->stopped = interrupt_came()))
            return true;
        if (alone && !journal_begin(j, e))
            return false;
        bool fine = judge_next(j, singer, opt_watch, quiet, &any, &takes, &stale, e);
        if (alone && fine)
            fine = journal_commit(j, e);
        else if (alone)
            journal_rollback(j);
        if (!fine)
            return false;
        lost = stale ? lost + 1 : 0;
        if (opt_watch && opt_watch->decoded && !stale)
            opt_watch->decoded(opt_watch->context, takes);
    }
    return true;
}

bool judge_everybody(journal *j, bool quiet, err *e)
{
    journal_singer *singers;
    size_t n;
    if (!journal_singers(j, &singers, &n, e))
        return false;
    bool fine = true;
    judge_watch watch = {.stopped = false};
    for (size_t i = 0; fine && i < n; i++) {
        fine = judge_singer(j, singers[i].name, &watch, quiet, e);
        if (fine && watch.stopped)
            fine = err_set(e,
                           "Stopped while the registers of %s were to be decoded: the same command "
                           "goes on from there.",
                           singers[i].name);
    }
    journal_singers_free(singers, n);
    return fine;
}
