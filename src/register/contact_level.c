/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/contact_level.h"

#include "base/array.h"
#include "voice/egg.h"

#include <gsl/gsl_sort.h>
#include <math.h>
#include <stdlib.h>

/* From experience, without a source: what the larynx's height and the voice's strength do to the
 * amplitude within a register. */
static const double scatter_db = 4;
static const double most_db = -22;
/* A step is three standard deviations at most: it helps the other figures, and does not overrule
 * them. */
static const double most_mass = 9;
static const double lost_db = 27;   /* under a take's loud contact: that with the skin is lost */
static const double noise_db2 = 30; /* what noise adds to the variance of a frame of no clarity */
static const double guessed = 0.1;  /* of M2 where the amplitude is high */
static const double farthest = 1.2; /* steps from the middle: more counts no more */
static const double lost = 1.6;     /* and below it: contact with the skin is lost: says nothing */

/* The first frame beyond the take of frame `first`. */
static size_t take_end(const evidence *ev, size_t first)
{
    size_t end = first;
    while (end < ev->n && ev->take[end] == ev->take[first])
        end++;
    return end;
}

/* A tenth of the frames first..end - 1 that are looked at is louder, another tenth softer. */
static void spread_of(const contact_levels *l, size_t first, size_t end, double *lo, double *hi)
{
    double *x = xmalloc(end - first, sizeof *x);
    size_t n = 0;
    for (size_t i = first; i < end; i++)
        if (!isnan(l->x_db[i]))
            x[n++] = l->x_db[i];
    gsl_sort(x, 1, n);
    *lo = n ? x[n / 10] : 0;
    *hi = n ? x[n - 1 - n / 10] : 0;
    free(x);
}

static void leave_lost(contact_levels *l, const evidence *ev)
{
    for (size_t first = 0, end; first < l->n; first = end) {
        double lo, hi;
        end = take_end(ev, first);
        spread_of(l, first, end, &lo, &hi);
        for (size_t i = first; i < end; i++)
            if (l->x_db[i] < hi - lost_db)
                l->x_db[i] = (double)NAN;
    }
}

contact_levels contact_levels_new(const evidence *ev, track *const *tracks, size_t n_tracks,
                                  const bool *usable)
{
    contact_levels l = {.n = ev->n, .takes = n_tracks};
    l.x_db = array_filled(l.n, (double)NAN);
    l.var = array_filled(l.n, scatter_db * scatter_db);
    for (size_t i = 0; i < l.n; i++) {
        const track *t = tracks[ev->take[i]];
        if (!usable[i])
            continue;
        l.x_db[i] = (double)t->egg[ev->frame[i]].level_db;
        l.var[i] += noise_db2 * (1 - (double)t->egg[ev->frame[i]].clarity);
    }
    leave_lost(&l, ev);
    return l;
}

void contact_levels_clear(contact_levels *l)
{
    free(l->x_db);
    free(l->var);
}

contact_fall contact_fall_new(const contact_levels *l)
{
    return (contact_fall){0, array_filled(l->takes, (double)NAN)};
}

void contact_fall_clear(contact_fall *f)
{
    free(f->mid_db);
}

typedef struct sums { /* of a take's frames: weights, s, s^2, x and s x, s the register */
    double n, s, ss, x, sx;
} sums;

void contact_fall_fit(contact_fall *f, const contact_levels *l, const evidence *ev,
                      const double *p2, const double *weights, double trust)
{
    double mass = trust / (CONTACT_FALL_SD_DB * CONTACT_FALL_SD_DB), moved = mass * CONTACT_FALL_DB;
    sums *all = xcalloc(l->takes, sizeof *all);
    for (size_t i = 0; i < l->n; i++) {
        if (isnan(l->x_db[i]))
            continue;
        sums *t = &all[ev->take[i]];
        double k = weights[i] / l->var[i], s = p2[i] - 0.5;
        t->n += k;
        t->s += k * s;
        t->ss += k * s * s;
        t->x += k * l->x_db[i];
        t->sx += k * s * l->x_db[i];
    }
    for (size_t k = 0; k < l->takes; k++)
        if (all[k].n > 0) {
            mass += all[k].ss - all[k].s * all[k].s / all[k].n;
            moved += all[k].sx - all[k].s * all[k].x / all[k].n;
        }
    f->step_db = fmin(fmax(moved / mass, most_db), 0);
    for (size_t k = 0; k < l->takes; k++)
        f->mid_db[k] = (all[k].x - f->step_db * all[k].s) / all[k].n;
    free(all);
}

bool contact_fall_says(const contact_fall *f, const contact_levels *l, const evidence *ev, size_t i,
                       double *off_db, double *var)
{
    double most = farthest * -f->step_db, off = l->x_db[i] - f->mid_db[ev->take[i]];
    if (isnan(off) || off < lost * f->step_db)
        return false;
    *off_db = fmin(fmax(off, -most), most);
    *var = fmax(l->var[i], f->step_db * f->step_db / most_mass);
    return true;
}

bool contact_levels_guess(const contact_levels *l, const evidence *ev, double *p2)
{
    bool two = false;
    for (size_t first = 0, end; first < l->n; first = end) {
        double lo, hi;
        end = take_end(ev, first);
        spread_of(l, first, end, &lo, &hi);
        bool moves = hi - lo >= -0.5 * CONTACT_FALL_DB;
        for (size_t i = first; i < end; i++)
            p2[i] = isnan(l->x_db[i]) || !moves    ? 0.5
                    : l->x_db[i] < 0.5 * (lo + hi) ? 1 - guessed
                                                   : guessed;
        two = two || moves;
    }
    return two;
}
