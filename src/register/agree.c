/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/agree.h"

#include "base/array.h"
#include "register/contact.h"

#include <math.h>
#include <stdlib.h>

static const double frame_s = 0.005;
static const double longest_hole_s = 0.2; /* between two told frames with a flip between them */

static const size_t least_matched = 2; /* fewer flips may be the same by chance */
static const size_t least_denied = 4;

typedef struct spot { /* a flip of the EGG */
    size_t take;
    double time_s;
    flip_direction direction;
    bool used;
} spot;

typedef struct spots {
    size_t n, room;
    spot *items;
} spots;

static spots find_spots(const contact *c, const evidence *ev, track *const *tracks)
{
    spots all = {.n = 0};
    size_t last = 0;
    bool known = false;
    for (size_t i = 0; i < c->n; i++) {
        known = known && !isinf(ev->gap_s[i]);
        if (!c->told[i])
            continue;
        double now_s = evidence_time(ev, tracks, i), then_s = evidence_time(ev, tracks, last);
        if (known && (c->p2[i] > 0.5) != (c->p2[last] > 0.5) && now_s - then_s < longest_hole_s) {
            array_reserve((void **)&all.items, &all.room, all.n + 1, sizeof *all.items);
            all.items[all.n++] = (spot){ev->take[i], 0.5 * (now_s + then_s),
                                        c->p2[i] > 0.5 ? FLIP_UP : FLIP_DOWN, false};
        }
        last = i;
        known = true;
    }
    return all;
}

/* Takes the nearest spot that is the same flip. */
static bool match(spots *all, size_t take, const flip *f)
{
    spot *best = NULL;
    double nearest = AGREE_WITHIN_S;
    for (size_t i = 0; i < all->n; i++) {
        spot *s = &all->items[i];
        double off = fabs(s->time_s - f->time_s);
        if (s->take == take && s->direction == f->direction && !s->used && off <= nearest) {
            best = s;
            nearest = off;
        }
    }
    if (best)
        best->used = true;
    return best != NULL;
}

/* Whether the EGG tells within 60 ms of each frame of a take. */
static bool *reach_of(const contact *c, const evidence *ev, const track *t, size_t take)
{
    bool *near = xcalloc(t->n, sizeof *near);
    size_t reach = (size_t)(AGREE_WITHIN_S / frame_s);
    for (size_t i = 0; i < c->n; i++)
        for (size_t f = ev->frame[i] > reach ? ev->frame[i] - reach : 0;
             ev->take[i] == take && c->told[i] && f <= ev->frame[i] + reach && f < t->n; f++)
            near[f] = true;
    return near;
}

agreement agree_count(const contact *c, const evidence *ev, track *const *tracks, size_t n_tracks,
                      const flips *heard)
{
    agreement a = {.egg_s = 0};
    spots all = find_spots(c, ev, tracks);
    a.egg_flips = all.n;
    for (size_t i = 0; i < c->n; i++) {
        unsigned char mic = tracks[ev->take[i]]->reg[ev->frame[i]];
        a.egg_s += c->told[i] ? frame_s : 0;
        a.frames += c->told[i] && mic;
        a.same += c->told[i] && mic == (c->p2[i] > 0.5 ? 2 : 1);
    }
    for (size_t k = 0; k < n_tracks; k++) {
        bool *near = reach_of(c, ev, tracks[k], k);
        for (size_t i = 0; i < heard[k].n; i++) {
            const flip *f = &heard[k].items[i];
            size_t frame = (size_t)lround((f->time_s - tracks[k]->time_s[0]) / tracks[k]->hop_s);
            if (f->confidence < FLIP_ASSERTED || frame >= tracks[k]->n || !near[frame])
                continue;
            a.mic_flips++;
            a.matched += match(&all, k, f);
        }
        free(near);
    }
    free(all.items);
    return a;
}

bool agree_finer(contact **c, const evidence *ev, track *const *tracks, size_t n_tracks,
                 const flips *heard, agreement *agreed)
{
    /* The same flips, and the same names for three quarters of the voice. */
    bool alike = 2 * agreed->matched >= agreed->mic_flips && 4 * agreed->same >= 3 * agreed->frames;
    if (agreed->mic_flips < least_matched || alike)
        return false;
    contact *finer = contact_finer(ev, tracks);
    agreement a = finer ? agree_count(finer, ev, tracks, n_tracks, heard) : *agreed;
    bool more = a.matched > agreed->matched && a.egg_flips >= agreed->egg_flips;
    bool better = finer && more && a.matched >= least_matched && 3 * a.matched >= 2 * a.egg_flips;
    contact_free(better ? *c : finer);
    if (better) {
        *c = finer;
        *agreed = a;
    }
    return better;
}

bool agree_denied(const contact *c, const agreement *agreed)
{
    return c->unclear && agreed->mic_flips >= least_denied &&
           2 * agreed->matched < agreed->mic_flips;
}

void agree_add(agreement *sum, const agreement *more)
{
    sum->egg_s += more->egg_s;
    sum->frames += more->frames;
    sum->same += more->same;
    sum->egg_flips += more->egg_flips;
    sum->mic_flips += more->mic_flips;
    sum->matched += more->matched;
}
