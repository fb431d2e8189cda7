/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice3/ensemble.h"

#include <assert.h>
#include <math.h>
#include <stdbool.h>
#include <string.h>

#define EDGE_S 0.15 /* silence before and after */
#define RISE_S 0.12 /* of the pressure */
#define REST_S 0.25 /* held before anything moves */

/* Areas in cm2, coarse and from memory of Fant (1960). */
static const double vowel_a[ENSEMBLE_VOWEL] = {2, 1.6, 1, 0.8, 1.2, 2.5, 5, 7, 8, 6, 5};
static const double vowel_o[ENSEMBLE_VOWEL] = {2.5, 2.2, 1.5, 1.2, 1.6, 3, 6, 9, 8, 4, 1.6};

#define MG 1e-6 /* kg */
#define MM 1e-3

/* Whose folds they are: some sing twice. */
#define LEAPING                                                                                    \
    {                                                                                              \
        .mass_kg = {9.8 * MG, 9.6 * MG, 3.1 * MG}, .stiffness_n_m = {25.1, 19.5, 4.7},             \
        .between_n_m = {9.35, 3.57}, .damping = {0.13, 0.23, 0.26}, .contact_damping = 0.97,       \
        .rest_m = {0.091 * MM, 0.074 * MM, 0.057 * MM}, .parting_m = 0.14 * MM,                    \
        .stretch = {0.43, 1, 1},                                                                   \
    }

#define LOW                                                                                        \
    {                                                                                              \
        .mass_kg = {9.5 * MG, 8.6 * MG, 4.7 * MG}, .stiffness_n_m = {10.5, 8, 1.4},                \
        .between_n_m = {2.01, 0.5}, .damping = {0.12, 0.09, 0.21}, .contact_damping = 0.63,        \
        .rest_m = {0.073 * MM, 0.067 * MM, 0.061 * MM}, .parting_m = 0.031 * MM,                   \
        .stretch = {0.5, 0.97, 0.99},                                                              \
    }

#define SEAM                                                                                       \
    {                                                                                              \
        .mass_kg = {11.2 * MG, 7 * MG, 2.6 * MG}, .stiffness_n_m = {15, 7.9, 1.9},                 \
        .between_n_m = {3.09, 0.8}, .damping = {0.1, 0.16, 0.14}, .contact_damping = 0.39,         \
        .rest_m = {0.051 * MM, 0.049 * MM, 0.047 * MM}, .parting_m = 0.028 * MM,                   \
        .stretch = {1.16, 1.4, 1},                                                                 \
    }

#define WOMAN                                                                                      \
    {                                                                                              \
        .mass_kg = {15.9 * MG, 11.8 * MG, 3.4 * MG}, .stiffness_n_m = {27.7, 14.2, 2.4},           \
        .between_n_m = {8.46, 3.51}, .damping = {0.21, 0.37, 0.22}, .contact_damping = 0.76,       \
        .rest_m = {0.019 * MM, 0.023 * MM, 0.027 * MM}, .parting_m = 0.088 * MM,                   \
        .stretch = {0.87, 1, 1.15},                                                                \
    }

static const ensemble_row rows[ENSEMBLE_SINGERS] = {
    [ENSEMBLE_LEAPING] = {"leaping", LEAPING, 594, 0.8, 1.48, 3.2, 0.05, 0.175, 0.2, 0, vowel_a},
    [ENSEMBLE_LOW] = {"low", LOW, 922, 1.1, 2.4, 4.2, 0.09, 0.18, 0.2, 0, vowel_o},
    [ENSEMBLE_SEAM] = {"seam", SEAM, 871, 1.3, 3.2, 6, 0.1, 0.175, 0.2, 0, vowel_a},
    [ENSEMBLE_WOMAN] = {"woman", WOMAN, 993, 1.6, 3.3, 7, 0.05, 0.15, 0.17, 0, vowel_a},
    [ENSEMBLE_COUPLED] = {"coupled", LEAPING, 594, 0.8, 1.48, 3.2, 0.05, 0.175, 0.2, 0.25, vowel_a},
    [ENSEMBLE_COUPLED_WOMAN] = {"coupled-woman", WOMAN, 993, 1.6, 3.3, 7, 0.05, 0.15, 0.17, 0.4,
                                vowel_a},
    [ENSEMBLE_CHEST] = {"chest", SEAM, 871, 0.9, 1.4, 2.3, 0.1, 0.175, 0.2, 0, vowel_o},
};

const ensemble_row *ensemble_get(ensemble_singer s)
{
    assert(s < ENSEMBLE_SINGERS);
    return &rows[s];
}

gsl_rng *ensemble_draws(ensemble_singer s, uint64_t seed, int take, int purpose)
{
    gsl_rng *r = gsl_rng_alloc(gsl_rng_ranlxd1);
    uint64_t z = seed;
    uint64_t more[] = {(uint64_t)s, (uint64_t)take, (uint64_t)purpose};
    for (int i = 0; i < 3; i++) /* a 64-bit linear congruence (Knuth 1997) */
        z = (z + more[i] + 1) * 6364136223846793005U + 1442695040888963407U;
    gsl_rng_set(r, (unsigned long)(z >> 33));
    return r;
}

static double between(gsl_rng *r, double lo, double hi)
{
    return lo + (hi - lo) * gsl_rng_uniform(r);
}

gesture ensemble_gesture(ensemble_singer s, uint64_t seed, int take)
{
    const ensemble_row *row = ensemble_get(s);
    gsl_rng *r = ensemble_draws(s, seed, take, 0);
    gesture g = {.seconds = between(r, 3, 5)};
    double low = row->slack * between(r, 0.95, 1.1), high = row->taut * between(r, 0.8, 1.05);
    double middle = row->middle * between(r, 0.95, 1.05);
    static const double often[ENSEMBLE_TAKES] = {1, 0.85, 1.15, 0.85, 1, 1, 1, 0.9};
    double pressure = row->pressure_pa * often[take] * between(r, 0.95, 1.05);
    double more = pressure * between(r, 0.9, 1.15);
    bool down = take == 3 || take == 4;
    g.kind = take < 5 ? "slide" : take == 5 ? "siren" : take == 6 ? "swell" : "hold";
    g.tension[0] = take < 6 ? (down ? high : low) : take == 6 ? middle : low;
    g.tension[1] = take < 6 ? (down ? low : high) : take == 6 ? middle : low * 1.2;
    g.pressure_pa[0] = take == 6 ? 0.75 * pressure : pressure;
    g.pressure_pa[1] = take == 6 ? 1.5 * pressure : more;
    gsl_rng_free(r);
    return g;
}

void gesture_at(const gesture *g, double time_s, double *tension, double *pressure_pa)
{
    double sung = g->seconds - 2 * (EDGE_S + REST_S);
    double at = fmin(fmax((time_s - EDGE_S - REST_S) / sung, 0), 1);
    bool back = strcmp(g->kind, "siren") == 0 || strcmp(g->kind, "swell") == 0;
    double share = back ? 1 - fabs(1 - 2 * at) : at;
    double edge = fmin(time_s, g->seconds - time_s) - EDGE_S;
    double on = fmin(fmax(edge / RISE_S, 0), 1);
    *tension = g->tension[0] * pow(g->tension[1] / g->tension[0], share);
    *pressure_pa = on * on * (3 - 2 * on) * g->pressure_pa[0] *
                   pow(g->pressure_pa[1] / g->pressure_pa[0], share);
}
