/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/turns.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

static const double shortest_stay_s = 0.2, least_leap_st = 1.5, leap_near_s = 0.08;
static const double unsure = 0.6; /* of a register that a short stay is given to */

static void append(turns *c, turn item)
{
    array_reserve((void **)&c->items, &c->room, c->n + 1, sizeof *c->items);
    c->items[c->n++] = item;
}

void turns_clear(turns *c)
{
    free(c->items);
    *c = (turns){.n = 0};
}

/* A leap of the pitch the way the change at frame i goes. */
static bool has_leap(const evidence *ev, size_t i, bool up)
{
    size_t reach = evidence_frames(ev, leap_near_s);
    for (size_t j = i > reach ? i - reach : 0; j < ev->n && j <= i + reach; j++)
        if (ev->take[j] == ev->take[i] && ev->leap_st[j] * (up ? 1 : -1) > least_leap_st)
            return true;
    return false;
}

/* Frame i..end - 1: the frames that have the register of frame i without a break. */
static size_t same_until(const evidence *ev, const double *p2, size_t i)
{
    size_t end = i + 1;
    while (end < ev->n && !isinf(ev->gap_s[end]) && (p2[end] > 0.5) == (p2[i] > 0.5))
        end++;
    return end;
}

static bool begins(const evidence *ev, size_t i)
{
    return i == ev->n || isinf(ev->gap_s[i]);
}

static bool too_short(const evidence *ev, const double *p2, size_t i, size_t end)
{
    bool m2 = p2[i] > 0.5;
    double stay_s = 0;
    for (size_t j = i + 1; j < end; j++)
        stay_s += ev->gap_s[j];
    if (stay_s > shortest_stay_s || (begins(ev, i) && begins(ev, end)))
        return false;
    for (size_t j = i; j < end; j++)
        if (ev->declared[j] == (m2 ? DECLARED_M2 : DECLARED_M1))
            return false;
    return !(!begins(ev, i) && has_leap(ev, i, m2)) &&
           !(!begins(ev, end) && has_leap(ev, end, !m2));
}

static turn turn_at(const double *p2, size_t first, size_t at, size_t end, bool brief)
{
    return (turn){.first = first, .at = at, .last = end - 1, .up = p2[at] > 0.5, .brief = brief};
}

static void leave_short(const evidence *ev, double *p2, turns *c)
{
    for (size_t i = 0, before = 0, end; i < ev->n; before = i, i = end) {
        end = same_until(ev, p2, i);
        if (!too_short(ev, p2, i, end))
            continue;
        if (!begins(ev, i))
            append(c, turn_at(p2, before, i, end, true));
        if (!begins(ev, end))
            append(c, turn_at(p2, i, end, same_until(ev, p2, end), true));
        bool m2 = p2[i] > 0.5;
        for (size_t j = i; j < end; j++)
            p2[j] = m2 ? 1 - unsure : unsure;
        i = before;
        end = same_until(ev, p2, i);
    }
}

static int by_place(const void *a, const void *b)
{
    size_t x = ((const turn *)a)->at, y = ((const turn *)b)->at;
    return (x > y) - (x < y);
}

turns turns_find(const evidence *ev, double *p2)
{
    turns c = {.n = 0};
    leave_short(ev, p2, &c);
    for (size_t i = 0, before = 0, end; i < ev->n; before = i, i = end) {
        end = same_until(ev, p2, i);
        if (!begins(ev, i))
            append(&c, turn_at(p2, before, i, end, false));
    }
    if (c.n)
        qsort(c.items, c.n, sizeof *c.items, by_place);
    return c;
}
