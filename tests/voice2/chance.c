/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/chance.h"

#include <gsl/gsl_randist.h>
#include <math.h>

/* Mixes one more number into a seed (the finisher of SplitMix64, Steele et al. 2014). */
static uint64_t mix(uint64_t state, uint64_t more)
{
    uint64_t z = state + 0x9e3779b97f4a7c15U * (more + 1);
    z = (z ^ (z >> 30)) * 0xbf58476d1ce4e5b9U;
    z = (z ^ (z >> 27)) * 0x94d049bb133111ebU;
    return z ^ (z >> 31);
}

static uint64_t mix_text(uint64_t state, const char *text)
{
    for (; *text; text++)
        state = mix(state, (unsigned char)*text);
    return state;
}

gsl_rng *chance_new(const char *name, uint64_t seed, int take, const char *purpose)
{
    gsl_rng *r = gsl_rng_alloc(gsl_rng_ranlxd1);
    uint64_t state = mix_text(mix(mix_text(mix(2, seed), name), (uint64_t)take), purpose);
    gsl_rng_set(r, (unsigned long)(state & 0x7fffffffU));
    return r;
}

double chance_in(gsl_rng *r, double lo, double hi)
{
    return lo + (hi - lo) * gsl_rng_uniform(r);
}

bool chance_of(gsl_rng *r, double probability)
{
    return gsl_rng_uniform(r) < probability;
}

double chance_bell(gsl_rng *r, double sd)
{
    return gsl_ran_gaussian_ziggurat(r, sd);
}

double chance_logistic(gsl_rng *r, double sd)
{
    return gsl_ran_logistic(r, sd * sqrt(3) / M_PI);
}

void chance_wander(gsl_rng *r, size_t n, double step_s, double period_s, double sd, double *out)
{
    enum { PARTS = 6 };
    double hz[PARTS], phase[PARTS];
    for (int i = 0; i < PARTS; i++) {
        hz[i] = pow(2, chance_in(r, -1, 1)) / period_s;
        phase[i] = chance_in(r, 0, 2 * M_PI);
    }
    for (size_t k = 0; k < n; k++) {
        double sum = 0;
        for (int i = 0; i < PARTS; i++)
            sum += sin(2 * M_PI * hz[i] * (double)k * step_s + phase[i]);
        out[k] = sd * sum * sqrt(2.0 / PARTS);
    }
}
