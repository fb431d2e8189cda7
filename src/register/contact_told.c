/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/contact.h"

#include <math.h>
#include <stdlib.h>

/* From so much on the EGG's answer is better than the microphone's. */
static const double sure = 0.75;
static const double from_edge_s = 0.03; /* nearer to an end there are no flips: see hazard.h */
static const size_t least_frames = 20, beside_frames = 40, end_frames = 30;
static const double near_s = 0.022; /* across so short a hole the EGG tells, too */

/* Frames with contact that are surely in one register, and those in short holes between such. */
static void mark_told(contact *c, const evidence *ev, const bool *usable)
{
    size_t last = 0;
    double since_s = (double)INFINITY;
    for (size_t i = 0; i < c->n; i++) {
        since_s += ev->gap_s[i];
        c->told[i] = usable[i] && fabs(c->p2[i] - 0.5) > sure - 0.5;
        if (!c->told[i])
            continue;
        bool same = (c->p2[last] > 0.5) == (c->p2[i] > 0.5);
        for (size_t k = last + 1; since_s <= near_s && same && k < i; k++)
            c->told[k] = true;
        last = i;
        since_s = 0;
    }
}

/* Frames of a stretch that are told alike, from frame i on; the first beyond. */
static size_t told_alike(const contact *c, size_t i, size_t end)
{
    bool m2 = c->p2[i] > 0.5;
    while (i < end && (!c->told[i] || (c->p2[i] > 0.5) == m2))
        i++;
    return i;
}

static void leave_untold(contact *c, size_t from, size_t end)
{
    for (size_t i = from; i < end; i++)
        c->told[i] = false;
}

/* Folds part where the voice sets in and ends, as before a breathy consonant: a short stay in the
 * other register there, frames first..end - 1 being a stretch, is none. */
static void leave_ends(contact *c, size_t first, size_t end)
{
    size_t from = first, last = end;
    while (from < end && !c->told[from])
        from++;
    size_t next = from < end ? told_alike(c, from, end) : end;
    if (next == end)
        return;
    if (next - from < end_frames)
        leave_untold(c, from, next);
    while (next < end) {
        last = next;
        next = told_alike(c, next, end);
    }
    if (end - last < end_frames)
        leave_untold(c, last, end);
}

/* A register of which there is next to nothing was not told. */
static void count_told(contact *c)
{
    for (size_t i = 0; i < c->n; i++)
        *(c->p2[i] > 0.5 ? &c->m2_frames : &c->m1_frames) += c->told[i];
    bool m1 = c->m1_frames >= least_frames, m2 = c->m2_frames >= least_frames;
    for (size_t i = 0; i < c->n; i++)
        c->told[i] = c->told[i] && (c->p2[i] > 0.5 ? m2 : m1);
    c->m1_frames = m1 ? c->m1_frames : 0;
    c->m2_frames = m2 ? c->m2_frames : 0;
}

void contact_tell(contact *c, const evidence *ev, const bool *usable)
{
    mark_told(c, ev, usable);
    for (size_t first = 0, i = 1; i <= ev->n; i++)
        if (i == ev->n || isinf(ev->gap_s[i])) {
            leave_ends(c, first, i);
            contact_tell_lost(c, ev, usable, first, i);
            first = i;
        }
    count_told(c);
}

bool contact_both(const contact *c)
{
    return c->m1_frames && c->m2_frames;
}

/* How sure it is that frame k is in M2, or in M1; 0 where it is not told to be. */
static double surely(const contact *c, size_t k, bool m2)
{
    return c->told[k] && (c->p2[k] > 0.5) == m2 ? fmax(c->p2[k], 1 - c->p2[k]) : 0;
}

double contact_tells_flip(const contact *c, const evidence *ev, size_t i, bool up)
{
    double before = 0, after = 0;
    for (size_t k = i, n = 0; k > 0 && n < beside_frames && !isinf(ev->gap_s[k]); n++)
        before = fmax(before, surely(c, --k, !up));
    for (size_t k = i, n = 0; k < c->n && n < beside_frames && (!n || !isinf(ev->gap_s[k]));
         n++, k++)
        after = fmax(after, surely(c, k, up));
    return fmin(before, after);
}

void contact_pin(const contact *c, evidence *ev)
{
    for (size_t i = 0; i < c->n; i++)
        if (c->told[i] && ev->declared[i] == DECLARED_NONE && ev->edge_s[i] >= from_edge_s)
            ev->declared[i] = c->p2[i] > 0.5 ? DECLARED_M2 : DECLARED_M1;
}

void contact_free(contact *c)
{
    if (!c)
        return;
    free(c->told);
    free(c->p2);
    free(c->says);
    free(c);
}
