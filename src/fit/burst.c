/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/burst.h"

/* No note is sung in the other register for so short a time, s. */
static const double LONGEST_S = 0.4;

static bool is_burst(const attempts *a, const double *real, size_t i)
{
    const attempt *t = &a->items[i];
    return i > 0 && i + 1 < a->n && t[-1].path == t->path && t[1].path == t->path &&
           t[-1].flipped && t->flipped && t->seconds < LONGEST_S &&
           (real[i - 1] < 0.5 || real[i] < 0.5);
}

/* As `last` ended, from where `first` began: both are of one register, and so is what was sung in
 * the burst, whose corners lie between theirs. */
static attempt joined(const attempt *first, const attempt *burst, const attempt *last)
{
    attempt t = *last;
    t.start = first->start;
    t.seconds = first->seconds + burst->seconds + last->seconds;
    t.first = first->first;
    t.n_hull = last->first + last->n_hull - first->first;
    return t;
}

bool burst_join(attempts *a, const double *real)
{
    size_t n = 0;
    for (size_t i = 0; i < a->n; i++) {
        bool burst = n > 0 && is_burst(a, real, i);
        if (burst) {
            a->items[n - 1] = joined(&a->items[n - 1], &a->items[i], &a->items[i + 1]);
            i++;
        } else {
            a->items[n++] = a->items[i];
        }
    }
    bool any = n < a->n;
    a->n = n;
    return any;
}
