/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/contact_marks.h"

#include "voice/egg.h"

#include <math.h>

static const double step = 0.001;

void contact_marks_take(contact_marks *m, const truth_take *t, const track *found)
{
    for (size_t f = 0; t->contact && found->egg && f < t->n && f < found->n; f++) {
        const egg_frame *e = &found->egg[f];
        bool usable = e->clarity >= EGG_USABLE && !isnan(e->quotient);
        if (!t->reg[f] || isnan(found->pitch_st[f]) || isnan(t->contact[f]))
            continue;
        *(t->egg_lost[f] ? &m->lost : &m->voiced) += 1;
        *(t->egg_lost[f] ? &m->lost_usable : &m->usable) += usable;
        double off = fabs((double)e->quotient - t->contact[f]) / step;
        if (usable && !t->egg_lost[f])
            m->off[off < CONTACT_STEPS ? (size_t)off : CONTACT_STEPS - 1]++;
    }
}

void contact_marks_add(contact_marks *sum, const contact_marks *more)
{
    sum->voiced += more->voiced;
    sum->usable += more->usable;
    sum->lost += more->lost;
    sum->lost_usable += more->lost_usable;
    for (size_t i = 0; i < CONTACT_STEPS; i++)
        sum->off[i] += more->off[i];
    agree_add(&sum->agreed, &more->agreed);
}

double contact_marks_off(const contact_marks *m, double q)
{
    size_t n = 0, i = 0;
    for (size_t k = 0; k < CONTACT_STEPS; k++)
        n += m->off[k];
    if (!n)
        return (double)NAN;
    for (size_t below = m->off[0]; (double)below < q * (double)n; below += m->off[i])
        i++;
    return ((double)i + 0.5) * step;
}
