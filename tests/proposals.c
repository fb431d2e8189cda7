/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How many takes it needs to know the slope going up: takes as `next` proposes them, one at a time,
 * against equal slides soft, middle and loud. Prints the third table of docs/intervals.md.
 *
 *   proposals [RUNS [SEED]]     singers, 100; 60 */
#include "base/array.h"
#include "fit/plan.h"
#include "voice/simdraw.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include <gsl/gsl_statistics_double.h>

enum { SEED = 60, FIRST_TAKES = 1, MOST_TAKES = 60 };
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

/* A slide from five semitones under the lower boundary to five above the upper one: soft, middle
 * and loud in turn, or soft and loud. */
static simtake slide(const simsinger *s, manner how, size_t number)
{
    const double equal[] = {reach.soft_db, reach.middle_db, reach.loud_db};
    const double level = how == EQUAL_SLIDES ? equal[number % 3] : equal[2 * (number % 2)];
    double x = level - s->at_db;
    return (simtake){.kind = SIM_SLIDE,
                     .from_st = s->down_st + s->down_slope * x - 5,
                     .to_st = s->up_st + s->up_slope * x + 5,
                     .from_db = level,
                     .to_db = level,
                     .seconds = 4,
                     .step_s = 0.005};
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

static void print_target(int k, double *needed[MANNERS], int runs)
{
    double mean[MANNERS];
    for (int m = 0; m < MANNERS; m++)
        mean[m] = gsl_stats_mean(needed[m], 1, (size_t)runs);
    printf("| %.2f | %.1f | %.1f | %.0f %% | %.1f | %.0f %% |\n", targets[k], mean[EQUAL_SLIDES],
           mean[AS_PROPOSED], 100 * (1 - mean[AS_PROPOSED] / mean[EQUAL_SLIDES]),
           mean[SOFT_AND_LOUD], 100 * (1 - mean[SOFT_AND_LOUD] / mean[EQUAL_SLIDES]));
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
        "first that `next` proposes. *Limit*: slides soft\nand loud in turn, of all slides those "
        "with the most information on the slope, 3/2 of that of equal ones, so\nthat they save a "
        "third where takes are many and less where three or four are enough.\n\n"
        "| width, st/dB | equal slides | as proposed | fewer | limit | fewer |\n"
        "|---|---|---|---|---|---|\n",
        runs, (int)seed, MOST_TAKES);
    for (int k = 0; k < TARGETS; k++)
        print_target(k, needed[k], runs);
    for (int k = 0; k < TARGETS; k++)
        for (int m = 0; m < MANNERS; m++)
            free(needed[k][m]);
    gsl_rng_free(r);
    return fflush(stdout) == 0 ? 0 : 1;
}
