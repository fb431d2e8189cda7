/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/parts.h"

#include "base/array.h"
#include "register/explain.h"
#include "register/known.h"

#include <assert.h>
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

enum { BEYOND = 1000 }; /* frames looked at on the other side of a cut */
static const double frame_s = 0.005;

parts_settings parts_defaults(void)
{
    return (parts_settings){
        .whole = 72000, .own = 42000, .longest = 24000, .excerpts = 30, .excerpt = 800};
}

typedef struct run { /* frames first..first + n - 1 of a take are to be told */
    size_t take, first, n, voiced;
    bool joined; /* it goes on where the run before it ends, in the middle of voice */
} run;

typedef struct plan {
    track_store *store;
    const parts_settings *sizes;
    run *runs;
    size_t n_runs, room;
    size_t voiced; /* frames in all */
    run excerpts[PARTS_EXCERPTS];
    size_t excerpt_of[PARTS_EXCERPTS]; /* the run that each lies in */
    size_t cut; /* where the part before was cut off: the frame from which on is to be told */
} plan;

typedef struct part { /* runs[first..end - 1] */
    size_t first, end;
    track **tracks; /* those of the runs, one a take; then the excerpts */
    size_t *takes;  /* [n_own] their numbers in the store */
    size_t n, n_own, room, room_takes;
    flips *found;       /* [n] */
    size_t from, until; /* frames of its first and of its last own take that it tells */
} part;

static void add_run(plan *p, run r)
{
    array_reserve((void **)&p->runs, &p->room, p->n_runs + 1, sizeof *p->runs);
    p->runs[p->n_runs++] = r;
}

/* Stretches become runs, long ones several of the same length. */
static void lay_out(plan *p, bool cut)
{
    size_t n, most = p->sizes->longest;
    const stretch *all = track_store_stretches(p->store, &n);
    for (size_t i = 0; i < n; i++) {
        size_t k = cut ? (all[i].n + most - 1) / most : 1, done = 0;
        for (size_t j = 0; j < k; j++) {
            size_t here = all[i].n * (j + 1) / k - done;
            add_run(p, (run){.take = all[i].take,
                             .first = all[i].first + done,
                             .n = here,
                             .voiced = all[i].voiced / k,
                             .joined = j > 0});
            done += here;
        }
    }
}

/* Excerpts begin at even steps over the voice of all runs and end with their run. */
static void sample(plan *p)
{
    assert(p->runs);
    size_t r = 0, before = 0, length = p->sizes->excerpt, n = p->sizes->excerpts;
    for (size_t k = 0; k < n; k++) {
        size_t at = (2 * k + 1) * p->voiced / (2 * n);
        while (r + 1 < p->n_runs && before + p->runs[r].voiced <= at)
            before += p->runs[r++].voiced;
        const run *of = &p->runs[r];
        size_t spare = of->n > length ? of->n - length : 0;
        double share = of->voiced ? (double)(at - before) / (double)of->voiced : 0;
        size_t skip = (size_t)(fmin(share, 1) * (double)of->n);
        skip = skip < spare ? skip : spare;
        p->excerpts[k] = (run){
            .take = of->take, .first = of->first + skip, .n = of->n < length ? of->n : length};
        p->excerpt_of[k] = r;
    }
}

/* A part ends when its voice would become more than it may. */
static size_t end_of_part(const plan *p, size_t first)
{
    assert(p->runs);
    size_t end = first + 1, voiced = p->runs[first].voiced;
    while (end < p->n_runs && voiced + p->runs[end].voiced <= p->sizes->own)
        voiced += p->runs[end++].voiced;
    return end;
}

static bool goes_on(const plan *p, size_t end)
{
    return end < p->n_runs && p->runs[end].joined;
}

/* Reads a run's frames, behind those of the same take or as a track of their own. */
static bool read_run(const plan *p, part *now, const run *r, bool own, err *e)
{
    track *t;
    if (!track_store_read(p->store, r->take, r->first, r->n, &t, e))
        return false;
    if (own && now->n_own && now->takes[now->n_own - 1] == r->take) {
        track_append(now->tracks[now->n_own - 1], t, 0, t->n);
        track_free(t);
        return true;
    }
    array_reserve((void **)&now->tracks, &now->room, now->n + 1, sizeof *now->tracks);
    now->tracks[now->n++] = t;
    if (!own && p->sizes->opt_stated)
        p->sizes->opt_stated(p->sizes->context, r->take, t);
    if (own) {
        array_reserve((void **)&now->takes, &now->room_takes, now->n, sizeof *now->takes);
        now->takes[now->n_own++] = r->take;
    }
    return true;
}

static bool read_part(const plan *p, part *now, bool sampled, err *e)
{
    bool good = true;
    for (size_t i = now->first; good && i < now->end; i++) {
        run r = p->runs[i];
        size_t before = i == now->first && r.joined ? BEYOND : 0;
        size_t after = i + 1 == now->end && goes_on(p, now->end) ? BEYOND : 0;
        r.first -= before;
        r.n += before + after;
        good = read_run(p, now, &r, true, e);
    }
    for (size_t k = 0; good && p->sizes->opt_stated && k < now->n_own; k++)
        p->sizes->opt_stated(p->sizes->context, now->takes[k], now->tracks[k]);
    for (size_t k = 0; sampled && good && k < p->sizes->excerpts; k++)
        if (p->excerpt_of[k] < now->first || p->excerpt_of[k] >= now->end)
            good = read_run(p, now, &p->excerpts[k], false, e);
    now->found = xcalloc(now->n, sizeof *now->found);
    return good;
}

static void part_clear(part *now)
{
    for (size_t k = 0; k < now->n; k++) {
        track_free(now->tracks[k]);
        if (now->found)
            flips_clear(&now->found[k]);
    }
    free(now->tracks);
    free(now->takes);
    free(now->found);
}

/* The middle of the longest time without a flip about the end of the part, as a frame. */
static size_t place_cut(const plan *p, const part *now)
{
    const run *last = &p->runs[now->end - 1];
    const flips *f = &now->found[now->n_own - 1];
    double hop_s = now->tracks[now->n_own - 1]->hop_s;
    double end_s = (double)(last->first + last->n) * hop_s, reach_s = 0.5 * BEYOND * hop_s;
    double before_s = end_s - reach_s, longest_s = 0, cut_s = end_s;
    for (size_t i = 0; i <= f->n; i++) {
        double next_s = i < f->n ? fmin(f->items[i].time_s, end_s + reach_s) : end_s + reach_s;
        if (next_s - before_s > longest_s) {
            longest_s = next_s - before_s;
            cut_s = 0.5 * (next_s + before_s);
        }
        before_s = fmax(before_s, next_s);
    }
    return (size_t)lround(cut_s / hop_s);
}

static size_t frame_of(const track *t, size_t i)
{
    return (size_t)lround(t->time_s[i] / t->hop_s);
}

static size_t first_told(const part *now, size_t k)
{
    return k ? 0 : now->from;
}

static size_t end_told(const part *now, size_t k)
{
    return k + 1 < now->n_own ? SIZE_MAX : now->until;
}

/* Whether a flip of track k is the part's to tell. */
static bool tells(const part *now, size_t k, double time_s)
{
    if (k >= now->n_own)
        return false;
    double hop_s = now->tracks[k]->hop_s;
    return time_s >= (double)first_told(now, k) * hop_s &&
           time_s < (double)end_told(now, k) * hop_s;
}

/* Puts what was found about track k where it belongs. */
static bool tell_track(const plan *p, const part *now, size_t k, flips *found, err *e)
{
    const track *t = now->tracks[k];
    size_t from = first_told(now, k), until = end_told(now, k);
    for (size_t i = 0, end; i < t->n; i = end) {
        size_t first = frame_of(t, i);
        for (end = i + 1; end < t->n && frame_of(t, end) == first + end - i; end++)
            ;
        size_t skip = first < from ? from - first : 0, n = end - i;
        n = first + n > until ? (until > first ? until - first : 0) : n;
        if (skip < n && !track_store_label(p->store, now->takes[k], first + skip, n - skip,
                                           t->reg + i + skip, t->p_m2 + i + skip, e))
            return false;
    }
    for (size_t i = 0; i < now->found[k].n; i++) {
        const flip *f = &now->found[k].items[i];
        if (tells(now, k, f->time_s))
            flips_append(&found[now->takes[k]], *f);
    }
    return true;
}

static bool tell_part(plan *p, part *now, flips *found, err *e)
{
    bool begins = now->first < p->n_runs && p->runs[now->first].joined, ends = goes_on(p, now->end);
    now->from = begins ? p->cut : 0;
    p->cut = ends ? place_cut(p, now) : 0;
    now->until = ends ? p->cut : SIZE_MAX;
    bool good = true;
    for (size_t k = 0; good && k < now->n_own; k++)
        good = tell_track(p, now, k, found, e);
    return good;
}

/* What explains the part goes to that of all, without the flips that others tell. */
static void explain_part(const part *now, size_t number, explanation *own, explanation *all)
{
    for (size_t i = 0; i < own->n; i++) {
        explain_row *r = &own->rows[i];
        if (r->about == EXPLAIN_FLIP && !tells(now, r->track, r->time_s))
            continue;
        r->part = number;
        explanation_append(all, *r);
        r->take = NULL;
    }
}

/* As much of the whole as the part has of its runs. */
static effort effort_of(const plan *p, const part *now, const effort *opt_whole)
{
    effort own = effort_part(opt_whole, 0, 1);
    double from = own.from, wide = own.to - own.from, all = fmax(1, (double)p->n_runs);
    own.from = from + wide * (double)now->first / all;
    own.to = from + wide * (double)now->end / all;
    return own;
}

static bool decode_part(plan *p, part *now, size_t number, bool sampled, const register_settings *s,
                        flips *found, register_summary *summary, err *e)
{
    bool good = read_part(p, now, sampled, e);
    if (good) {
        known before = s->opt_learnt ? *s->opt_learnt : (known){.m = {.hi = 0}};
        register_settings own = *s;
        effort told = effort_of(p, now, s->opt_effort);
        own.opt_effort = &told;
        explanation why = {.n = 0};
        own.opt_why = s->opt_why ? &why : NULL;
        register_decode(now->tracks, now->n, &own, now->found, summary);
        if (s->opt_learnt && s->opt_learnt->m.hi <= s->opt_learnt->m.lo)
            *s->opt_learnt = before;
        good = tell_part(p, now, found, e);
        if (s->opt_why)
            explain_part(now, number, &why, s->opt_why);
        explanation_clear(&why);
    }
    part_clear(now);
    return good;
}

static void summarise(register_summary *all, size_t parts, size_t both)
{
    if (parts < 2)
        return;
    all->gain_nats = (double)NAN;
    if (!both)
        return;
    all->answer = REGISTER_BOTH;
    snprintf(all->text, sizeof all->text, "both registers were heard, in %zu of %zu parts", both,
             parts);
}

bool parts_decode(track_store *store, const register_settings *s, const parts_settings *sizes,
                  flips *found, register_summary *summary, size_t *parts, err *e)
{
    assert(sizes->longest >= 4 * BEYOND && sizes->excerpts <= PARTS_EXCERPTS);
    plan p = {.store = store, .sizes = sizes};
    size_t n, both = 0, end = 0;
    agreement egg = {.egg_s = 0};
    const stretch *all = track_store_stretches(store, &n);
    for (size_t i = 0; i < n; i++)
        p.voiced += all[i].voiced;
    bool several = p.voiced > sizes->whole, good = true;
    lay_out(&p, several);
    if (several)
        sample(&p);
    *parts = 0;
    do {
        part now = {.first = end, .end = several ? end_of_part(&p, end) : p.n_runs};
        end = now.end;
        good = decode_part(&p, &now, ++*parts, several, s, found, summary, e);
        both += summary->answer == REGISTER_BOTH;
        agree_add(&egg, &summary->egg);
    } while (good && end < p.n_runs);
    summary->voiced_s = (double)p.voiced * frame_s;
    summary->egg = egg;
    summarise(summary, *parts, both);
    free(p.runs);
    return good;
}
