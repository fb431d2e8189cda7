/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How often the boundary's 95 % intervals hold the truth, by number of takes: singers drawn from
 * ranges, their takes simulated, fitted as anyone's. Prints the table of docs/intervals.md.
 *
 *   intervals [RUNS]     runs a cell, 400 */
#include "base/array.h"
#include "fit/boundary.h"
#include "voice/simdraw.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

enum { SEED = 20, MOST_TAKES = 64 };

/* A cell of the table: so many takes, of voices of one kind. */
typedef struct cell {
    const char *kind;
    size_t takes;
    double false_share; /* of takes that have a burst of wrong labels */
    double apart;       /* half the range of the difference between the slopes */
} cell;

static const cell cells[] = {
    {"clean", 4, 0, 0},           {"clean", 5, 0, 0},           {"clean", 8, 0, 0},
    {"clean", 14, 0, 0},          {"clean", 40, 0, 0},          {"false flips", 5, 0.05, 0},
    {"false flips", 14, 0.05, 0}, {"false flips", 40, 0.05, 0}, {"two slopes", 8, 0, 0.2},
    {"two slopes", 14, 0, 0.2},   {"two slopes", 40, 0, 0.2},
};

typedef struct score {
    double told, held, below, bias, square, width;
} score;

static void truth_of(const simsinger *s, double at_db, double truth[BOUNDARY_ROWS])
{
    double x = at_db - s->at_db;
    truth[BOUNDARY_UP_PITCH] = s->up_st + s->up_slope * x;
    truth[BOUNDARY_UP_SLOPE] = s->up_slope;
    truth[BOUNDARY_UP_SPREAD] = s->up_spread;
    truth[BOUNDARY_DOWN_PITCH] = s->down_st + s->down_slope * x;
    truth[BOUNDARY_DOWN_SLOPE] = s->down_slope;
    truth[BOUNDARY_DOWN_SPREAD] = s->down_spread;
    truth[BOUNDARY_HYSTERESIS] = truth[BOUNDARY_UP_PITCH] - truth[BOUNDARY_DOWN_PITCH];
}

static void add_run(const boundary *b, const simsinger *s, score scores[BOUNDARY_ROWS])
{
    double truth[BOUNDARY_ROWS];
    truth_of(s, boundary_at_db(b), truth);
    for (int row = 0; row <= BOUNDARY_HYSTERESIS; row++) {
        figure f = boundary_figure(b, (boundary_row)row);
        if (isnan(f.estimate))
            continue;
        double error = f.estimate - truth[row];
        scores[row].told += 1;
        scores[row].held += f.lo95 <= truth[row] && truth[row] <= f.hi95;
        scores[row].below += truth[row] < f.lo95;
        scores[row].bias += error;
        scores[row].square += error * error;
        scores[row].width += f.hi95 - f.lo95;
    }
}

static bool run_once(const cell *c, gsl_rng *r, score scores[BOUNDARY_ROWS])
{
    path takes[MOST_TAKES];
    simsinger s = simdraw_singer(c->false_share, c->apart, r);
    for (size_t i = 0; i < c->takes; i++) {
        simtake t = simdraw_take(&s, r);
        takes[i] = simpath_new(&s, &t, "take", r);
    }
    boundary_settings settings = boundary_defaults();
    boundary *b = NULL;
    err e;
    bool fitted = boundary_fit(takes, c->takes, &settings, &b, &e);
    if (fitted)
        add_run(b, &s, scores);
    boundary_free(b);
    for (size_t i = 0; i < c->takes; i++)
        simpath_free(&takes[i]);
    return fitted;
}

static void print_cell(const cell *c, int runs, const score scores[BOUNDARY_ROWS])
{
    for (int row = 0; row <= BOUNDARY_HYSTERESIS; row++) {
        const score *s = &scores[row];
        printf("| %s | %zu | %s | %.1f %% | %.1f %% | %.1f %% | %+.3f | %.3f | %.3f |\n", c->kind,
               c->takes, boundary_row_name((boundary_row)row), 100 * s->told / runs,
               100 * s->held / s->told, 100 * s->below / s->told, s->bias / s->told,
               sqrt(s->square / s->told), s->width / s->told);
    }
}

static void print_head(int runs)
{
    printf(
        "# Do the intervals hold?\n\n"
        "Written by `make intervals`: %d simulated singers a cell, seed %d. Each singer's boundary "
        "is drawn\nanew (slope -0.1 to 0.4 st/dB, spread 0.3 to 1.2 st, hysteresis 0.5 to 4 st, "
        "take offset 0 to\n0.7 st, leap 0 to 8 st, level drifting by up to 3 dB a take; seven "
        "slides to three swells). *False flips*:\none take in twenty has a burst of wrong labels. "
        "*Two slopes*: down differs from up by up to 0.2 st/dB.\n*Told*: the row had an answer. "
        "*Held*: of these, the 95 %% interval held the truth (standard error\n%.1f points); "
        "*below*: the truth lay below it. Bias, root mean square error and mean width in the\n"
        "row's unit.\n\n"
        "| voices | takes | row | told | held | below | bias | rms error | width |\n"
        "|---|---|---|---|---|---|---|---|---|\n",
        runs, SEED, 100 * sqrt(0.95 * 0.05 / runs));
}

int main(int argc, char **argv)
{
    int runs = argc > 1 ? atoi(argv[1]) : 400;
    if (runs < 1) {
        fputs("intervals [RUNS]: how many runs a cell, 1 or more\n", stderr);
        return 2;
    }
    print_head(runs);
    for (size_t i = 0; i < sizeof cells / sizeof *cells; i++) {
        score scores[BOUNDARY_ROWS] = {{0}};
        gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
        gsl_rng_set(r, SEED + i);
        for (int k = 0; k < runs; k++)
            if (!run_once(&cells[i], r, scores))
                return 1;
        print_cell(&cells[i], runs, scores);
        gsl_rng_free(r);
    }
    return fflush(stdout) == 0 ? 0 : 1;
}
