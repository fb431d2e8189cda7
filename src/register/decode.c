/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/decode.h"

#include "base/array.h"
#include "register/evidence.h"
#include "register/figures.h"
#include "register/search.h"

#include <gsl/gsl_errno.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static const double frame_s = 0.005;
static const double least_voice_s = 2; /* less does not determine tract and source */
static const double shortest_stay_s = 0.2, least_leap_st = 1.5;
static const size_t leap_frames = 16;
static const double doubtful =
    0.4; /* what is left of the confidence of a flip into too short a stay */
static const double unsure = 0.6;
/* Frames in a row say the same, which makes the chain too sure of itself: of the flips to which it
 * gave 0.9 on tuning voices, half were true, of those to which it gave 0.95 three in four. */
static const double surer = 6;
static const size_t sure_frames = 20; /* confidence looks this far on either side */

register_settings register_defaults(void)
{
    return (register_settings){.least_gain = 12, .least_gain_per_s = 1.4};
}

static double highest(const double *p2, size_t from, size_t to, bool m2)
{
    double best = 0;
    for (size_t j = from; j < to; j++)
        best = fmax(best, m2 ? p2[j] : 1 - p2[j]);
    return best;
}

typedef struct decoded { /* what is needed to tell of one flip */
    const evidence *ev;
    track *const *tracks;
    const world *w;
    const double *time_s; /* [ev->n] */
} decoded;

/* The flip on entering frame `at`; nothing else happens in first..last. */
static flip flip_at(const decoded *d, size_t first, size_t last, size_t at)
{
    const double *p2 = d->w->p2;
    bool up = p2[at] > 0.5;
    figures_of of = {d->ev, d->tracks, &d->w->m, d->w->says, d->time_s};
    size_t before = at - first > sure_frames ? at - sure_frames : first;
    size_t after = last - at > sure_frames ? at + sure_frames : last;
    flip f = figures_measure(&of, first, last, at, up ? FLIP_UP : FLIP_DOWN);
    f.confidence = pow(highest(p2, before, at, !up) * highest(p2, at, after + 1, up), surer);
    return f;
}

static bool in_m2(const decoded *d, size_t i)
{
    return d->w->p2[i] > 0.5;
}

/* A leap of the pitch the way the flip at frame i goes. */
static bool has_leap(const decoded *d, size_t i, bool up)
{
    for (size_t j = i > leap_frames ? i - leap_frames : 0; j < d->ev->n && j <= i + leap_frames;
         j++)
        if (d->ev->take[j] == d->ev->take[i] && d->ev->leap_st[j] * (up ? 1 : -1) > least_leap_st)
            return true;
    return false;
}

/* Frame i..end - 1: the frames that have the register of frame i without a break. */
static size_t same_until(const decoded *d, size_t i)
{
    size_t end = i + 1;
    while (end < d->ev->n && !isinf(d->ev->gap_s[end]) && in_m2(d, end) == in_m2(d, i))
        end++;
    return end;
}

/* Whether frames i..end - 1 are too short a stay to be believed: the harmonics alone do not tell a
 * register in so little time, least of all where the voice begins or ends. */
static bool too_short(const decoded *d, size_t i, size_t end)
{
    bool begins = isinf(d->ev->gap_s[i]);
    bool ends = end == d->ev->n || isinf(d->ev->gap_s[end]);
    if (begins && ends)
        return false;
    if (d->time_s[end - 1] - d->time_s[i] > shortest_stay_s)
        return false;
    return !(!begins && has_leap(d, i, in_m2(d, i))) && !(!ends && has_leap(d, end, !in_m2(d, i)));
}

static void append_flip(const decoded *d, size_t before, size_t end, size_t i, double trust,
                        flips *found)
{
    flip f = flip_at(d, before, end - 1, i);
    f.confidence *= trust;
    flips_append(&found[d->ev->take[i]], f);
}

/* Gives short stays to the register about them; their flips are listed as doubtful. */
static void leave_short(const decoded *d, flips *found)
{
    double *p2 = d->w->p2;
    for (size_t i = 0, before = 0, end; i < d->ev->n; before = i, i = end) {
        end = same_until(d, i);
        if (!too_short(d, i, end))
            continue;
        if (!isinf(d->ev->gap_s[i]))
            append_flip(d, before, end, i, doubtful, found);
        if (end < d->ev->n && !isinf(d->ev->gap_s[end]))
            append_flip(d, i, same_until(d, end), end, doubtful, found);
        bool m2 = in_m2(d, i);
        for (size_t j = i; j < end; j++)
            p2[j] = m2 ? 1 - unsure : unsure;
        i = before;
        end = same_until(d, i);
    }
}

/* The flips; the registers of the frames change where the flips are. */
static void tell(const decoded *d, flips *found)
{
    const evidence *ev = d->ev;
    leave_short(d, found);
    for (size_t i = 0, before = 0, end; i < ev->n; before = i, i = end) {
        end = same_until(d, i);
        for (size_t j = i; j < end; j++) {
            track *t = d->tracks[ev->take[j]];
            t->p_m2[ev->frame[j]] = d->w->p2[j];
            t->reg[ev->frame[j]] = in_m2(d, j) ? 2 : 1;
        }
        if (isinf(ev->gap_s[i]))
            continue;
        append_flip(d, before, end, i, 1, found);
        const flips *all = &found[ev->take[i]];
        flip f = all->items[all->n - 1];
        for (size_t j = before; j < end; j++) {
            bool old = d->time_s[j] < f.time_s;
            if (old != (j < i))
                d->tracks[ev->take[j]]->reg[ev->frame[j]] = (f.direction == FLIP_UP) == old ? 1 : 2;
        }
    }
    for (size_t i = 0; i < ev->n; i++)
        if (i + 1 == ev->n || ev->take[i + 1] != ev->take[i])
            flips_sort(&found[ev->take[i]]);
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

static double *times_of(const evidence *ev, track *const *tracks)
{
    double *time_s = xmalloc(ev->n, sizeof *time_s);
    for (size_t i = 0; i < ev->n; i++)
        time_s[i] = tracks[ev->take[i]]->time_s[ev->frame[i]];
    return time_s;
}

static void summarise(register_summary *s, track *const *tracks, size_t n)
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
    snprintf(s->text, sizeof s->text, "%s", texts[s->answer]);
}

void register_decode(track *const *tracks, size_t n, const register_settings *s, flips *found,
                     register_summary *summary)
{
    gsl_error_handler_t *handler = gsl_set_error_handler_off();
    evidence *ev = evidence_new(tracks, n);
    world best = {.p2 = NULL};
    search_settings settings = search_defaults();
    *summary = (register_summary){.answer = REGISTER_TOO_LITTLE,
                                  .voiced_s = (double)ev->n * frame_s,
                                  .gain_nats = (double)NAN};
    bool told = summary->voiced_s >= least_voice_s && search_run(ev, &settings, &best);
    if (told) {
        double least = s->least_gain + s->least_gain_per_s * summary->voiced_s;
        summary->gain_nats = best.gain;
        summary->answer = best.gain < least ? REGISTER_ONE_UNNAMED : REGISTER_BOTH;
    }
    if (told && summary->answer == REGISTER_BOTH) {
        double *time_s = times_of(ev, tracks);
        decoded d = {ev, tracks, &best, time_s};
        tell(&d, found);
        free(time_s);
    }
    for (size_t k = 0; k < n; k++)
        tell_declared(tracks[k]);
    summarise(summary, tracks, n);
    world_clear(&best);
    evidence_free(ev);
    gsl_set_error_handler(handler);
}
