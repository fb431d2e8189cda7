/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/decode.h"

#include "base/array.h"
#include "register/alone.h"
#include "register/contact.h"
#include "register/evidence.h"
#include "register/explain.h"
#include "register/figures.h"
#include "register/kind.h"
#include "register/search.h"
#include "register/settle.h"
#include "register/trust.h"

#include <gsl/gsl_errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const double frame_s = 0.005;
static const double by_egg = 0.99;     /* of a change between registers that the EGG tells */
static const double brief_trust = 0.4; /* at most, of a change into too short a stay */
/* At least, of a change that stands where both registers are stated: 20 of 72 on tuning voices. */
static const double kept_trust = 0.3;

register_settings register_defaults(void)
{
    return (register_settings){.least_voice_s = 2, .least_tried_s = 0.5, .least_listed = 0.05};
}

typedef struct decoded {
    const evidence *ev;
    track *const *tracks;
    const world *w;
    const double *time_s; /* [ev->n] */
    const contact *egg;   /* or NULL */
    turns all;
    double *p; /* [all.n] probability that it is a flip */
    double (*cues)[CUES];
    refined *places; /* [all.n] by the microphone's model; time_s NaN where not told */
} decoded;

/* The microphone's cues of each change and what they are worth; NaN and nothing where it has no
 * model, and the EGG alone tells. */
static void ask_microphone(decoded *d)
{
    const world *w = d->w;
    cues_of of = {d->ev, &w->m, &w->where, w->says, w->steps, w->p2, w->gain};
    for (size_t k = 0; k < d->all.n; k++) {
        d->places[k].time_s = (double)NAN;
        for (int c = 0; c < CUES; c++)
            d->cues[k][c] = (double)NAN;
    }
    if (w->m.hi <= w->m.lo)
        return;
    turns placed = refine_turns(d->ev, d->time_s, w->says, &d->all, d->places);
    cues_measure(&of, &placed, d->cues);
    turns_clear(&placed);
    trust_all(d->all.n, d->cues, d->p);
}

static decoded decoded_new(const evidence *ev, track *const *tracks, const world *w,
                           const double *time_s, const contact *egg)
{
    decoded d = {ev, tracks, w, time_s, egg, turns_find(ev, w->p2), NULL, NULL, NULL};
    d.cues = xmalloc(d.all.n, sizeof *d.cues);
    d.places = xmalloc(d.all.n, sizeof *d.places);
    d.p = array_filled(d.all.n, 0);
    ask_microphone(&d);
    for (size_t k = 0; k < d.all.n; k++) {
        const turn *c = &d.all.items[k];
        if (kind_of(ev, tracks, c->at) != FLIP_PROPER)
            d.p[k] = fmin(d.p[k], KIND_MOST);
        double told = egg ? contact_tells_flip(egg, ev, c->at, c->up) : 0;
        if (told > 0)
            d.p[k] = fmin(told, by_egg);
        if (d.all.items[k].brief)
            d.p[k] = fmin(d.p[k], brief_trust);
        if (ev->stated[d.all.items[k].at] & STATED_FLIP)
            d.p[k] = 1;
    }
    return d;
}

static void decoded_clear(decoded *d)
{
    turns_clear(&d->all);
    free(d->p);
    free(d->cues);
    free(d->places);
}

/* Whether a change is believed, or both registers are declared. */
static bool has_two(const decoded *d)
{
    bool m1 = false, m2 = false;
    for (size_t i = 0; i < d->ev->n; i++) {
        m1 = m1 || d->ev->declared[i] == DECLARED_M1;
        m2 = m2 || d->ev->declared[i] == DECLARED_M2;
    }
    for (size_t k = 0; k < d->all.n; k++)
        if (d->p[k] >= FLIP_ASSERTED)
            return true;
    return m1 && m2;
}

static void tell_frames(const decoded *d)
{
    for (size_t i = 0; i < d->ev->n; i++) {
        track *t = d->tracks[d->ev->take[i]];
        t->p_m2[d->ev->frame[i]] = d->w->p2[i];
        t->reg[d->ev->frame[i]] = d->w->p2[i] > 0.5 ? 2 : 1;
    }
}

/* The registers of the frames change where the flip is. */
static void tell_place(const decoded *d, const turn *c, const flip *f)
{
    if ((d->w->p2[c->at] > 0.5) != c->up || (d->w->p2[c->at - 1] > 0.5) == c->up)
        return;
    for (size_t i = c->first; i <= c->last; i++) {
        bool old = d->time_s[i] < f->time_s;
        if (old != (i < c->at))
            d->tracks[d->ev->take[i]]->reg[d->ev->frame[i]] = c->up == old ? 1 : 2;
    }
}

static flip flip_of(const decoded *d, size_t k)
{
    const turn *c = &d->all.items[k];
    figures_of of = {d->ev, d->tracks, &d->w->m, d->w->says, d->time_s, d->egg};
    flip f =
        figures_measure(&of, c->first, c->last, c->at, c->up ? FLIP_UP : FLIP_DOWN, &d->places[k]);
    f.confidence = d->p[k];
    if (f.confidence < FLIP_ASSERTED)
        f.kind = kind_of(d->ev, d->tracks, c->at);
    memcpy(f.cues, d->cues[k], sizeof f.cues);
    return f;
}

/* Flips, doubtful ones too, and with `two` registers those of the frames. */
static void tell(const decoded *d, bool two, double least, flips *found)
{
    if (two)
        tell_frames(d);
    for (size_t k = 0; k < d->all.n; k++) {
        const turn *c = &d->all.items[k];
        if (d->p[k] < least)
            continue;
        flip f = flip_of(d, k);
        if (two && !c->brief)
            tell_place(d, c, &f);
        flips_append(&found[d->ev->take[c->at]], f);
    }
    for (size_t i = 0; i < d->ev->n; i++)
        if (i + 1 == d->ev->n || d->ev->take[i + 1] != d->ev->take[i])
            flips_sort(&found[d->ev->take[i]]);
}

static void tell_frame(track *t, size_t f, bool m2)
{
    if (isnan(t->pitch_st[f]))
        return;
    t->reg[f] = m2 ? 2 : 1;
    t->p_m2[f] = m2;
}

/* Takes that were declared are what they were declared to be, and frames what is stated of them. */
static void tell_declared(track *t)
{
    for (size_t f = 0; t->declared && f < t->n; f++)
        tell_frame(t, f, t->declared == DECLARED_M2);
    for (size_t f = 0; t->stated && f < t->n; f++)
        if (t->stated[f] & (STATED_M1 | STATED_M2))
            tell_frame(t, f, t->stated[f] & STATED_M2);
}

static void summarise(register_summary *s, track *const *tracks, size_t n, bool egg_names)
{
    bool m1 = false, m2 = false, free = false;
    for (size_t k = 0; k < n; k++) {
        m1 = m1 || tracks[k]->declared == DECLARED_M1;
        m2 = m2 || tracks[k]->declared == DECLARED_M2;
        free = free || tracks[k]->declared == DECLARED_NONE;
    }
    if (s->answer == REGISTER_ONE_UNNAMED && !free && m1 != m2)
        s->answer = REGISTER_ONE;
    static const char *const texts[] = {
        [REGISTER_BOTH] = "both registers were heard",
        [REGISTER_ONE] = "one register in all takes, as declared",
        [REGISTER_ONE_UNNAMED] =
            "one register in all takes; which one the sound alone does not tell",
        [REGISTER_TOO_LITTLE] = "too little voice to tell the registers apart"};
    snprintf(s->text, sizeof s->text, "%s",
             egg_names ? "one register in all takes, as the EGG tells" : texts[s->answer]);
}

typedef struct hearing { /* what is decoded, with the EGG or by the microphone alone */
    const evidence *ev;
    track *const *tracks;
    size_t n;
    const register_settings *s;
    const contact *egg;             /* NULL: the microphone alone */
    effort *opt_effort, *opt_alone; /* of all takes; of each by itself, NULL: none is heard so */
    flips *found;
    register_summary *summary;
} hearing;

/* The best world; where the voice is too little for one, what the EGG says. */
static bool find_world(const hearing *h, world *best)
{
    search_settings settings = search_defaults();
    settings.opt_known = h->s->opt_known;
    settings.opt_effort = h->opt_effort;
    if (h->summary->voiced_s >= h->s->least_tried_s && search_run(h->ev, &settings, best))
        return true;
    world_clear(best);
    if (!h->egg)
        return false;
    *best = (world){.gain = (double)NAN, .p2 = xmalloc(h->ev->n, sizeof *best->p2)};
    best->says = xmalloc(h->ev->n, sizeof *best->says);
    memcpy(best->p2, h->egg->p2, h->ev->n * sizeof *best->p2);
    memcpy(best->says, h->egg->says, h->ev->n * sizeof *best->says);
    return true;
}

/* With both registers stated the chain is believed, and its changes are at least doubtful flips. */
static void list_kept(decoded *d)
{
    for (size_t k = 0; k < d->all.n; k++) {
        const turn *c = &d->all.items[k];
        if (!c->brief && (d->w->p2[c->at - 1] > 0.5) != (d->w->p2[c->at] > 0.5))
            d->p[k] = fmax(d->p[k], kept_trust);
    }
}

/* A register that changes while the voice rests at a consonant is no flip, though the EGG tells it
 * on both sides. */
static void doubt_rests(decoded *d)
{
    for (size_t k = 0; d->egg && k < d->all.n; k++)
        if (d->p[k] <= by_egg && kind_of(d->ev, d->tracks, d->all.items[k].at) == FLIP_CONSONANT)
            d->p[k] = fmin(d->p[k], KIND_MOST);
}

static void tell_world(const hearing *h, world *w)
{
    double *time_s = evidence_times(h->ev, h->tracks);
    decoded d = decoded_new(h->ev, h->tracks, w, time_s, h->egg);
    bool two = has_two(&d);
    if (two)
        settle_registers(h->ev, &d.all, d.p, 1, w->p2);
    if (two && settle_told(h->ev))
        list_kept(&d);
    doubt_rests(&d);
    if (two && h->s->opt_learnt)
        *h->s->opt_learnt = (known){w->m, w->where};
    tell(&d, two, h->s->least_listed, h->found);
    h->summary->gain_nats = w->gain;
    bool enough = h->summary->voiced_s >= h->s->least_voice_s;
    h->summary->answer = two ? REGISTER_BOTH : enough ? REGISTER_ONE_UNNAMED : REGISTER_TOO_LITTLE;
    figures_of of = {h->ev, h->tracks, &w->m, w->says, time_s, h->egg};
    if (two && h->opt_alone && w->m.mouth.n > 1 && h->n > 1)
        alone_mend(h->tracks, h->n, h->s->least_listed, h->opt_alone, h->found);
    if (h->s->opt_why && w->m.hi > 0) /* without a model the EGG alone has told */
        explain_world(&of, h->n, w, h->found, h->s->opt_why);
    decoded_clear(&d);
    free(time_s);
}

/* One register in all frames, the EGG's; false where it names none. */
static bool name_all(const hearing *h)
{
    if (!h->egg || h->summary->answer == REGISTER_BOTH ||
        h->egg->m1_frames + h->egg->m2_frames == 0)
        return false;
    for (size_t i = 0; i < h->ev->n; i++)
        tell_frame(h->tracks[h->ev->take[i]], h->ev->frame[i], h->egg->m2_frames > 0);
    h->summary->answer = REGISTER_ONE;
    return true;
}

static void decode(const hearing *h)
{
    world best = {.p2 = NULL};
    *h->summary = (register_summary){.answer = REGISTER_TOO_LITTLE,
                                     .voiced_s = (double)h->ev->n * frame_s,
                                     .gain_nats = (double)NAN};
    if (h->s->opt_learnt)
        *h->s->opt_learnt = (known){.m = {.hi = 0}};
    if (find_world(h, &best))
        tell_world(h, &best);
    bool named = name_all(h);
    for (size_t k = 0; k < h->n; k++)
        tell_declared(h->tracks[k]);
    summarise(h->summary, h->tracks, h->n, named);
    world_clear(&best);
}

/* Takes away what was told. */
static void forget(const hearing *h)
{
    for (size_t k = 0; k < h->n; k++) {
        track_forget_registers(h->tracks[k]);
        flips_clear(&h->found[k]);
    }
}

/* First by the microphone alone, to be held against the EGG. */
static void decode_both(const hearing *h, contact **egg, evidence *ev)
{
    effort halves[] = {effort_part(h->s->opt_effort, 0, 2), effort_part(h->s->opt_effort, 1, 2)};
    hearing alone = *h, with = *h;
    alone.opt_effort = &halves[0];
    decode(&alone);
    double gain_nats = h->summary->gain_nats;
    agreement agreed = agree_count(*egg, ev, h->tracks, h->n, h->found);
    agree_finer(egg, ev, h->tracks, h->n, h->found, &agreed);
    if (agree_denied(*egg, &agreed))
        return;
    forget(h);
    if (h->s->opt_why)
        explanation_clear(h->s->opt_why);
    contact_pin(*egg, ev);
    with.egg = *egg;
    with.opt_effort = &halves[1];
    decode(&with);
    h->summary->gain_nats = gain_nats;
    h->summary->egg = agreed;
}

void register_decode(track *const *tracks, size_t n, const register_settings *s, flips *found,
                     register_summary *summary)
{
    gsl_error_handler_t *handler = gsl_set_error_handler_off();
    evidence *ev = evidence_new(tracks, n);
    contact *egg = contact_new(ev, tracks);
    effort most, rest;
    effort_split(s->opt_effort, 0.75, &most, &rest);
    hearing h = {ev, tracks, n, s, NULL, &most, egg ? NULL : &rest, found, summary};
    if (egg)
        decode_both(&h, &egg, ev);
    else
        decode(&h);
    effort_end(&rest);
    contact_free(egg);
    evidence_free(ev);
    gsl_set_error_handler(handler);
}
