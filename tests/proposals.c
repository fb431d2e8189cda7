/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How many takes it needs to know the slope going up: takes as `next` proposes them, one at a time,
 * against equal slides soft, middle and loud. Prints the third table of docs/intervals.md.
 *
 *   proposals [RUNS [SEED]]     singers, 100; 1300 */
#include "base/array.h"
#include "fit/plan.h"
#include "voice/simbound.h"
#include "voice/simdraw.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include <gsl/gsl_blas.h>
#include <gsl/gsl_linalg.h>
#include <gsl/gsl_statistics_double.h>

enum { SEED = 1300, FIRST_TAKES = 1, MOST_TAKES = 60 };
/* Soft, middle and loud are the 10th, 50th and 90th percentile of 58 to 82 dB. */
static const plan_reach reach = {46, 82, 60.4, 70, 79.6};
static const double targets[] = {0.2, 0.15, 0.1}; /* widths of the interval of up.slope, st/dB */
enum { TARGETS = sizeof targets / sizeof *targets };

typedef enum manner { EQUAL_SLIDES, SOFT_AND_LOUD, AS_PROPOSED, MANNERS } manner;

static simtake sim_of(const plan_take *t)
{
    return (simtake){.kind = t->kind == PLAN_SLIDE ? SIM_SLIDE : SIM_SWELL,
                     .from_st = t->from_st,
                     .to_st = t->to_st,
                     .from_db = t->from_db,
                     .to_db = t->to_db,
                     .seconds = 4,
                     .step_s = 0.005};
}

/* From five semitones under the lower boundary to five above the upper one. */
static simtake slide_at(const simsinger *s, double level)
{
    double x = level - s->at_db;
    return (simtake){.kind = SIM_SLIDE,
                     .from_st = s->down_st + s->down_slope * x - 5,
                     .to_st = s->up_st + s->up_slope * x + 5,
                     .from_db = level,
                     .to_db = level,
                     .seconds = 4,
                     .step_s = 0.005};
}

/* Soft, middle and loud in turn, or soft and loud. */
static simtake slide(const simsinger *s, manner how, size_t number)
{
    const double equal[] = {reach.soft_db, reach.middle_db, reach.loud_db};
    return slide_at(s, how == EQUAL_SLIDES ? equal[number % 3] : equal[2 * (number % 2)]);
}

/* All kinds of takes that may be proposed: slides at LEVELS levels, the first, middle and last of
 * them the equal ones, and swells on every semitone near the boundary, from soft and from loud. */
enum { LEVELS = 5, MOST_KINDS = 64, TIMES = 400, ROUNDS = 2000, PARAMETERS = SIMBOUND_PARAMETERS };

typedef struct kinds {
    size_t n;
    gsl_matrix *information[MOST_KINDS];
} kinds;

static void add_kind(kinds *k, const simsinger *s, simtake t, gsl_rng *r)
{
    if (k->n == MOST_KINDS)
        return;
    gsl_matrix *m = gsl_matrix_calloc(PARAMETERS, PARAMETERS);
    simbound_information(s, t, reach.middle_db, TIMES, r, m);
    for (size_t i = 0; i < PARAMETERS; i++)
        for (size_t j = 0; j < i; j++)
            gsl_matrix_set(m, j, i, gsl_matrix_get(m, i, j));
    k->information[k->n++] = m;
}

static kinds kinds_of(const simsinger *s, gsl_rng *r)
{
    kinds k = {0};
    double rise = fabs(s->up_slope) * (reach.loud_db - reach.soft_db) / 2;
    for (int i = 0; i < LEVELS; i++)
        add_kind(&k, s,
                 slide_at(s, reach.soft_db + (reach.loud_db - reach.soft_db) * i / (LEVELS - 1)),
                 r);
    for (double st = ceil(s->down_st - rise - 1); st <= s->up_st + rise + 1; st++)
        for (int loud = 0; loud < 2; loud++)
            add_kind(&k, s,
                     (simtake){.kind = SIM_SWELL,
                               .from_st = st,
                               .to_st = st,
                               .from_db = loud ? reach.loud_db : reach.soft_db,
                               .to_db = loud ? reach.soft_db : reach.loud_db,
                               .seconds = 4},
                     r);
    return k;
}

/* The variance of the slope going up by takes of so many shares of each kind; *solved, or NULL: the
 * inverse of their information, times the slope's direction. */
static double variance_of(const kinds *k, const double *share, gsl_vector *solved)
{
    gsl_matrix *m = gsl_matrix_calloc(PARAMETERS, PARAMETERS);
    gsl_vector *c = gsl_vector_calloc(PARAMETERS);
    gsl_vector_set(c, SIMBOUND_UP_SLOPE, 1);
    for (size_t i = 0; i < k->n; i++)
        for (size_t j = 0; j < PARAMETERS * PARAMETERS; j++)
            m->data[j] += share[i] * k->information[i]->data[j];
    for (size_t i = 0; i < PARAMETERS; i++) /* of what the best takes may tell nothing at all */
        *gsl_matrix_ptr(m, i, i) += 1e-6;
    gsl_linalg_cholesky_decomp1(m);
    gsl_linalg_cholesky_solve(m, c, solved);
    double variance = gsl_vector_get(solved, SIMBOUND_UP_SLOPE);
    gsl_matrix_free(m);
    gsl_vector_free(c);
    return variance;
}

/* The share of takes that the best mixture of the first `n` kinds saves against equal slides where
 * takes are many: the least variance, by the multiplicative algorithm for c-optimal designs
 * (Silvey, Titterington & Torsney 1978, Communications in Statistics A 7:1379). */
static double most_saved(const kinds *all, size_t n)
{
    kinds k = *all;
    double equal[MOST_KINDS] = {1 / 3.0, 0, 1 / 3.0, 0, 1 / 3.0}, share[MOST_KINDS];
    gsl_vector *v = gsl_vector_alloc(PARAMETERS), *w = gsl_vector_alloc(PARAMETERS);
    double of_equal = variance_of(all, equal, v), least = INFINITY;
    k.n = n;
    for (size_t i = 0; i < n; i++)
        share[i] = 1 / (double)n;
    for (int round = 0; round < ROUNDS; round++) {
        double told[MOST_KINDS], sum = 0;
        least = variance_of(&k, share, v);
        for (size_t i = 0; i < n; i++) {
            gsl_blas_dgemv(CblasNoTrans, 1, k.information[i], v, 0, w);
            gsl_blas_ddot(v, w, &told[i]);
            sum += share[i] * sqrt(told[i]);
        }
        for (size_t i = 0; i < n; i++)
            share[i] *= sqrt(told[i]) / sum;
    }
    gsl_vector_free(v);
    gsl_vector_free(w);
    return 1 - least / of_equal;
}

/* Means over some of the singers, by slides alone and by slides and swells. */
static void print_most_saved(int runs, unsigned long seed)
{
    double slides = 0, all = 0;
    int n = runs < 20 ? runs : 20;
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r, seed + 50);
    for (int i = 0; i < n; i++) {
        simsinger s = simdraw_singer(0, 0, r);
        kinds k = kinds_of(&s, r);
        slides += most_saved(&k, LEVELS) / n;
        all += most_saved(&k, k.n) / n;
        for (size_t j = 0; j < k.n; j++)
            gsl_matrix_free(k.information[j]);
    }
    gsl_rng_free(r);
    printf(
        "\nWhere takes are many, the best mixture of slides at five levels saves %.0f %% of them, "
        "and that of slides and of swells\non any semitone %.0f %% (%d other singers; the "
        "mixture of least variance, sought among all by the information\nthat %d takes of each "
        "kind have on the average).\n",
        100 * slides, 100 * all, n, TIMES);
}

static boundary *fit(const path *takes, size_t n, err *e)
{
    boundary_settings settings = boundary_defaults();
    boundary *b = NULL;
    settings.at_db = reach.middle_db;
    return boundary_fit(takes, n, &settings, &b, e) ? b : NULL;
}

/* Takes until each target is met, MOST_TAKES where it is not. */
static bool sing(const simsinger *s, manner how, gsl_rng *r, double needed[TARGETS])
{
    path takes[MOST_TAKES];
    size_t n = 0;
    bool fine = true;
    for (int k = 0; k < TARGETS; k++)
        needed[k] = MOST_TAKES;
    boundary *b = NULL;
    while (fine && n < MOST_TAKES && needed[TARGETS - 1] >= MOST_TAKES) {
        err e;
        plan_take next;
        simtake t = slide(s, how, n);
        if (how == AS_PROPOSED && n >= FIRST_TAKES) {
            plan_next(b, &reach, 1, &next);
            t = sim_of(&next);
        }
        takes[n++] = simpath_new(s, &t, "take", r);
        boundary_free(b);
        b = fit(takes, n, &e);
        fine = b != NULL;
        figure f = fine ? boundary_figure(b, BOUNDARY_UP_SLOPE) : (figure){0};
        for (int k = 0; k < TARGETS; k++)
            if (needed[k] >= MOST_TAKES && f.hi95 - f.lo95 <= targets[k])
                needed[k] = (double)n;
    }
    boundary_free(b);
    for (size_t i = 0; i < n; i++)
        simpath_free(&takes[i]);
    return fine;
}

/* The share saved against equal slides, and its standard error (of a ratio of means), in points. */
static void print_saved(const double *needed, const double *equal, size_t runs)
{
    double ratio = gsl_stats_mean(needed, 1, runs) / gsl_stats_mean(equal, 1, runs);
    double *rest = xmalloc(runs, sizeof *rest);
    for (size_t i = 0; i < runs; i++)
        rest[i] = (needed[i] - ratio * equal[i]) / gsl_stats_mean(equal, 1, runs);
    printf(" %.1f | %.0f %% | %.1f |", gsl_stats_mean(needed, 1, runs), 100 * (1 - ratio),
           100 * gsl_stats_sd(rest, 1, runs) / sqrt((double)runs));
    free(rest);
}

static void print_target(int k, double *needed[MANNERS], size_t runs)
{
    printf("| %.2f | %.1f |", targets[k], gsl_stats_mean(needed[EQUAL_SLIDES], 1, runs));
    print_saved(needed[AS_PROPOSED], needed[EQUAL_SLIDES], runs);
    print_saved(needed[SOFT_AND_LOUD], needed[EQUAL_SLIDES], runs);
    printf("\n");
}

int main(int argc, char **argv)
{
    int runs = argc > 1 ? atoi(argv[1]) : 100;
    unsigned long seed = argc > 2 ? strtoul(argv[2], NULL, 10) : SEED;
    if (runs < 1) {
        fputs("proposals [RUNS [SEED]]: how many singers, 1 or more\n", stderr);
        return 2;
    }
    double *needed[TARGETS][MANNERS];
    for (int k = 0; k < TARGETS; k++)
        for (int m = 0; m < MANNERS; m++)
            needed[k][m] = array_filled((size_t)runs, 0);
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r, seed);
    for (int i = 0; i < runs; i++) {
        simsinger s = simdraw_singer(0, 0, r);
        for (int m = 0; m < MANNERS; m++) {
            double own[TARGETS];
            if (!sing(&s, (manner)m, r, own))
                return 1;
            for (int k = 0; k < TARGETS; k++)
                needed[k][m][i] = own[k];
        }
    }
    printf(
        "\n## What should be recorded next?\n\n"
        "%d simulated singers, seed %d: mean number of takes until the interval of up.slope is as "
        "narrow as asked\n(%d where it never is), with equal slides soft, middle and loud (10th, "
        "50th and 90th percentile of the level)\nand, after the first of these, with each take the "
        "first that `next` proposes. *Limit*: slides soft\nand loud in turn, of so many slides "
        "those with the most information on the slope; where takes are many\n3/2 of that of equal "
        "ones, so that they save a third, and less where three or four are enough. *Error*: the\n"
        "standard error of what is fewer, in points.\n\n"
        "| width, st/dB | equal slides | as proposed | fewer | error | limit | fewer | error |\n"
        "|---|---|---|---|---|---|---|---|\n",
        runs, (int)seed, MOST_TAKES);
    for (int k = 0; k < TARGETS; k++)
        print_target(k, needed[k], (size_t)runs);
    print_most_saved(runs, seed);
    for (int k = 0; k < TARGETS; k++)
        for (int m = 0; m < MANNERS; m++)
            free(needed[k][m]);
    gsl_rng_free(r);
    return fflush(stdout) == 0 ? 0 : 1;
}
