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
    ticker *ticker;
    size_t takes;
    bool stopped;
} watched;

static void show_part(void *whose, double share)
{
    watched *w = whose;
    w->stopped = w->stopped || interrupt_came();
    if (w->watch->opt_decoding)
        w->watch->opt_decoding(w->watch->context, share * (double)w->takes);
    else
        ticker_share(w->ticker, share);
}

/* A part, and what was found in it. */
typedef struct decoded {
    judgement g;
    register_summary summary;
} decoded;

static bool decode(decoded *d, judge_watch *watch, bool quiet, err *e)
{
    char what[80];
    judgement *g = &d->g;
    register_settings s = register_defaults();
    s.opt_known = &g->before;
    s.opt_learnt = &g->learnt;
    size_t n = g->n_before + g->n, parts = 1;
    flips *found = xcalloc(n, sizeof *found);
    snprintf(what, sizeof what, "decoding the registers of %zu takes", g->n);
    watched part = {watch, ticker_new(what, 0, quiet || watch->opt_decoding), g->n, false};
    effort shown = {.show = show_part, .whose = &part, .to = 1, .opt_stop = &part.stopped};
    s.opt_effort = &shown;
    bool fine = true;
    if (g->store)
        fine = decode_stored(g, &s, found, &d->summary, &parts, e);
    else
        decode_together(g, n, &s, found, &d->summary);
    ticker_free(part.ticker);
    watch->stopped = part.stopped;
    if (fine && parts > 1 && !part.stopped)
        message_warn("%s: %.0f minutes of voice are too much to be judged together: the registers "
                     "were told in %zu parts.",
                     g->singer, d->summary.voiced_s / 60, parts);
    for (size_t i = 0; i < n; i++)
        g->items[i].flips = found[i];
    free(found);
    return fine;
}

static void tell(const decoded *d, const judge_watch *watch)
{
    const judgement *g = &d->g;
    if (d->summary.answer == REGISTER_BOTH || !*d->summary.text)
        return;
    if (watch->opt_ticker)
        ticker_hide(watch->opt_ticker);
    if (*g->vowel)
        message_warn("%s, vowel %s: %s", g->singer, g->vowel, d->summary.text);
    else
        message_warn("%s: %s", g->singer, d->summary.text);
}

static bool store(journal *j, decoded *d, bool *stale, err *e)
{
    return judgement_store(j, &d->g, SEAMLINE_VERSION, d->summary.text, stale, e);
}

/* Decodes the next part, if there is any; *takes: so many are its own. */
static bool judge_next(journal *j, const char *singer, judge_watch *watch, bool quiet, bool *any,
                       size_t *takes, bool *stale, err *e)
{
    decoded d;
    if (!judgement_next(j, singer, SEAMLINE_VERSION, &d.g, any, e))
        return false;
    if (!*any)
        return true;
    bool fine = decode(&d, watch, quiet, e) && (watch->stopped || store(j, &d, stale, e));
    if (fine && !*stale && !watch->stopped)
        tell(&d, watch);
    *takes = d.g.n;
    judgement_clear(&d.g);
    return fine;
}

bool judge_singer(journal *j, const char *singer, judge_watch *watch, bool quiet, err *e)
{
    bool any = true, stale;
    watch->stopped = interrupt_came();
    for (int lost = 0; any && !watch->stopped;) {
        bool alone = lost >= PATIENCE;
        size_t takes = 0;
        stale = false;
        if (alone && !journal_begin(j, e))
            return false;
        bool fine = judge_next(j, singer, watch, quiet, &any, &takes, &stale, e);
        if (alone && fine)
            fine = journal_commit(j, e);
        else if (alone)
            journal_rollback(j);
        if (!fine)
            return false;
        lost = stale ? lost + 1 : 0;
        if (watch->decoded && !stale && !watch->stopped)
            watch->decoded(watch->context, takes);
    }
    return true;
}

/* A change of the journal, and the parts decoded so far that follow from it. */
typedef struct pending {
    const char *singer;
    judge_changer *change;
    const void *what;
    decoded *parts;
    size_t n, room;
} pending;

static void drop_parts(pending *p)
{
    for (size_t i = 0; i < p->n; i++)
        judgement_clear(&p->parts[i].g);
    p->n = 0;
}

/* The change with its parts, and what is to be decoded next; they stay as a transaction. */
static bool apply(journal *j, pending *p, decoded *next, bool *any, bool *stale, err *e)
{
    *any = *stale = false;
    bool fine = journal_begin(j, e) && p->change(j, p->what, e);
    for (size_t i = 0; fine && !*stale && i < p->n; i++)
        fine = store(j, &p->parts[i], stale, e);
    return fine && (*stale || judgement_next(j, p->singer, SEAMLINE_VERSION, &next->g, any, e));
}

static bool refuse_stopped(const char *singer, err *e)
{
    return err_set(e, "Stopped while the registers of %s were decoded: the journal is as it was.",
                   singer);
}

/* Nothing is locked while a part is decoded. *stale: another process changed what the parts rest
 * on. */
static bool change_beside_others(journal *j, pending *p, bool quiet, bool *stale, err *e)
{
    judge_watch watch = {.stopped = false};
    for (bool any = true; any;) {
        decoded next;
        bool fine = apply(j, p, &next, &any, stale, e);
        if (fine && !any && !*stale)
            return journal_commit(j, e);
        journal_rollback(j);
        if (!fine || *stale)
            return fine;
        fine = decode(&next, &watch, quiet, e);
        judgement_slim(&next.g);
        array_reserve((void **)&p->parts, &p->room, p->n + 1, sizeof *p->parts);
        p->parts[p->n++] = next;
        if (!fine || watch.stopped)
            return fine && refuse_stopped(p->singer, e);
    }
    return true;
}

static bool change_alone(journal *j, const pending *p, bool quiet, err *e)
{
    judge_watch watch = {.stopped = false};
    bool fine = journal_begin(j, e) && p->change(j, p->what, e) &&
                judge_singer(j, p->singer, &watch, quiet, e) &&
                (!watch.stopped || refuse_stopped(p->singer, e)) && journal_commit(j, e);
    journal_rollback(j);
    return fine;
}

bool judge_change(journal *j, const char *singer, judge_changer *change, const void *what,
                  bool quiet, err *e)
{
    pending p = {.singer = singer, .change = change, .what = what};
    const judge_watch watch = {.opt_ticker = NULL};
    bool fine = true, stale = true;
    for (int lost = 0; fine && stale && lost < PATIENCE; lost++) {
        drop_parts(&p);
        fine = change_beside_others(j, &p, quiet, &stale, e);
    }
    for (size_t i = 0; fine && !stale && i < p.n; i++)
        tell(&p.parts[i], &watch);
    drop_parts(&p);
    free(p.parts);
    return fine && (!stale || change_alone(j, &p, quiet, e));
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
