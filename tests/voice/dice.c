/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/dice.h"

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_randist.h>
#include <math.h>

/* The finaliser of splitmix64 (Steele, Lea & Flood 2014). */
static uint64_t mixed(uint64_t x)
{
    x += UINT64_C(0x9e3779b97f4a7c15);
    x = (x ^ (x >> 30)) * UINT64_C(0xbf58476d1ce4e5b9);
    x = (x ^ (x >> 27)) * UINT64_C(0x94d049bb133111eb);
    return x ^ (x >> 31);
}

gsl_rng *dice_new(uint64_t seed, uint64_t take, dice_stream stream)
{
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    uint64_t own = mixed(mixed(mixed(seed) ^ take) ^ (uint64_t)stream);
    gsl_rng_set(r, (unsigned long)(own >> 32));
    return r;
}

double dice_between(gsl_rng *r, double lo, double hi)
{
    return lo + (hi - lo) * gsl_rng_uniform(r);
}

bool dice_chance(gsl_rng *r, double probability)
{
    return gsl_rng_uniform(r) < probability;
}

int dice_whole(gsl_rng *r, int lo, int hi)
{
    return lo + (int)gsl_rng_uniform_int(r, (unsigned long)(hi - lo + 1));
}

double dice_normal(gsl_rng *r, double sd)
{
    return gsl_ran_gaussian_ziggurat(r, sd);
}

double dice_normal_above(gsl_rng *r, double sd, double above)
{
    double u = gsl_rng_uniform_pos(r);
    if (sd <= 0 || above > 4 * sd)
        return fmax(above, 0);
    return gsl_cdf_gaussian_Qinv(u * gsl_cdf_gaussian_Q(above, sd), sd);
}

void dice_wander(gsl_rng *r, size_t n, double step_s, double tau_s, double sd, double *out)
{
    /* Two equal first-order low-passes in a row; the drive makes the variance of the second sd^2
     * for steps much shorter than tau. */
    double a = exp(-2 * step_s / tau_s), drive = 2 * sqrt(1 - a);
    double fast = dice_normal(r, sd), slow = dice_normal(r, sd);
    for (size_t i = 0; i < n; i++) {
        fast = a * fast + drive * dice_normal(r, sd);
        slow = a * slow + (1 - a) * fast;
        out[i] = slow;
    }
}

uint64_t dice_seed(const char *text)
{
    uint64_t h = UINT64_C(14695981039346656037);
    for (; *text; text++)
        h = (h ^ (uint64_t)(unsigned char)*text) * UINT64_C(1099511628211);
    return h;
}
