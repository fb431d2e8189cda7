/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/worlds.h"

#include <math.h>
#include <string.h>

#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>

enum { PROPOSED = 256, SEED = 1, P = MAXIMUM_PARAMETERS };
/* Student's t has heavier tails than what it stands for. */
static const double FREEDOM = 5;

/* Student's t about the best, with its covariance; returns the logarithm of how much likelier it is
 * than it was to be proposed. */
static double propose(const estimate *e, gsl_rng *r, double theta[P])
{
    const fitted *f = &e->fit;
    double heavy = sqrt(FREEDOM / gsl_ran_chisq(r, FREEDOM)), z[P], q = 0;
    memcpy(theta, f->top.theta, sizeof f->top.theta);
    for (size_t i = 0; i < f->f.n; i++) {
        z[i] = heavy * gsl_ran_ugaussian(r);
        q += z[i] * z[i];
        for (size_t j = 0; j <= i; j++)
            theta[i] += f->root.at[i][j] * z[j];
    }
    return f->f.value(f->f.data, theta, NULL) - f->top.value +
           0.5 * (FREEDOM + (double)f->f.n) * log1p(q / FREEDOM);
}

double world_beyond(const world *w, const estimate *e, flip_direction d, const threshold_point *p)
{
    double f = estimate_pitch_by(e, w->theta, d, p->x[0]);
    return d == FLIP_UP ? p->y - f : f - p->y;
}

static void count_starts(const estimate *e, world *w)
{
    const likelihood *l = &e->likelihood;
    double in_m1 = 1, in_m2 = l->groups > 1;
    for (size_t i = 0; i < l->n && l->groups > 1; i++) {
        const threshold_obs *o = &l->obs[i];
        if ((i > 0 && o->cluster == l->obs[i - 1].cluster) ||
            world_beyond(w, e, FLIP_UP, &o->start) >= 0 ||
            world_beyond(w, e, FLIP_DOWN, &o->start) >= 0)
            continue;
        in_m1 += o->sign > 0;
        in_m2 += o->sign < 0;
    }
    w->starts_in_m1 = in_m1 / (in_m1 + in_m2);
}

void worlds_draw(const estimate *e, world out[WORLDS])
{
    double theta[PROPOSED][P], weight[PROPOSED], most = -INFINITY, sum = 0, passed = 0;
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r, SEED);
    for (int i = 0; i < PROPOSED; i++) {
        weight[i] = propose(e, r, theta[i]);
        most = fmax(most, weight[i]);
    }
    gsl_rng_free(r);
    for (int i = 0; i < PROPOSED; i++)
        sum += weight[i] = exp(weight[i] - most);
    for (int i = 0, k = 0; k < WORLDS; k++) { /* at equal distances along the weights */
        while (i < PROPOSED - 1 && passed + weight[i] < sum * (k + 0.5) / WORLDS)
            passed += weight[i++];
        memcpy(out[k].theta, theta[i], sizeof theta[i]);
        count_starts(e, &out[k]);
    }
}
