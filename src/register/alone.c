/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/alone.h"

#include "base/array.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

static const double near_s = 0.1, known_of = 0.3, sure = 0.9, surer = 0.95, most_cents = 1350;

/* The highest confidence of a flip there that goes as `x` does; 0 where there is none. */
static double confidence_at(const flips *f, const flip *x)
{
    double most = 0;
    for (size_t i = 0; i < f->n; i++)
        if (f->items[i].direction == x->direction && fabs(f->items[i].time_s - x->time_s) < near_s)
            most = fmax(most, f->items[i].confidence);
    return most;
}

/* Whether `alone` knows of every flip that `among` asserts, is sure of another, and asserts none
 * that leaps farther than a voice does. */
static bool tells_more(const flips *alone, const flips *among)
{
    double least = surer, most = 0;
    for (size_t i = 0; i < among->n; i++)
        if (among->items[i].confidence >= FLIP_ASSERTED) {
            if (confidence_at(alone, &among->items[i]) < known_of)
                return false;
            least = sure;
        }
    for (size_t i = 0; i < alone->n; i++) {
        const flip *f = &alone->items[i];
        if (f->confidence >= FLIP_ASSERTED && fabs(f->leap_cents) > most_cents)
            return false;
        if (confidence_at(among, f) < FLIP_ASSERTED)
            most = fmax(most, f->confidence);
    }
    return most >= least;
}

static void mend(track *t, const register_settings *s, flips *found)
{
    flips alone = {0};
    register_summary summary;
    unsigned char *reg = xmalloc(t->n, sizeof *reg);
    double *p_m2 = xmalloc(t->n, sizeof *p_m2);
    memcpy(reg, t->reg, t->n * sizeof *reg);
    memcpy(p_m2, t->p_m2, t->n * sizeof *p_m2);
    track_forget_registers(t);
    register_decode(&t, 1, s, &alone, &summary);
    if (tells_more(&alone, found)) {
        flips among = *found;
        *found = alone;
        alone = among;
    } else {
        memcpy(t->reg, reg, t->n * sizeof *reg);
        memcpy(t->p_m2, p_m2, t->n * sizeof *p_m2);
    }
    flips_clear(&alone);
    free(reg);
    free(p_m2);
}

void alone_mend(track *const *tracks, size_t n, double least_listed, effort *opt_effort,
                flips *found)
{
    for (size_t k = 0; k < n; k++) {
        effort part = effort_part(opt_effort, k, n);
        register_settings by_itself = register_defaults();
        by_itself.least_listed = least_listed;
        by_itself.opt_effort = &part;
        if (!tracks[k]->declared && !tracks[k]->stated)
            mend(tracks[k], &by_itself, &found[k]);
    }
}
