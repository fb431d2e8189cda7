/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How often the boundary's 95 % intervals hold the truth, by number of takes: singers drawn from
 * ranges, their takes simulated, fitted as anyone's. Prints the first table of docs/intervals.md.
 *
 *   intervals [RUNS [KIND [SEED]]]     runs a cell, 200; of these voices alone; 20 */
#include "base/array.h"
#include "fit/boundary.h"
#include "voice/simbound.h"
#include "voice/simdraw.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_randist.h>

enum { SEED = 20, MOST_TAKES = 64, ROWS = BOUNDARY_ROWS + 2 };
/* 10th and 90th percentile of the levels that are drawn. */
static const double SOFT_DB = 60.4, LOUD_DB = 79.6;

/* A cell of the table: so many takes, of voices of one kind. */
typedef struct cell {
    const char *kind;
    size_t sessions, takes; /* takes a session */
    double false_share;     /* of takes that have a burst of wrong labels */
    double apart;           /* half the range of the difference between the slopes */
    double curve;           /* half the range of the curvature */
    double scatter;         /* the most of the scatter between sessions */
    bool bound;             /* nothing that the bound's model does not have */
} cell;

static const cell cells[] = {
    {"clean", 1, 4, 0, 0, 0, 0, false},           {"clean", 1, 5, 0, 0, 0, 0, false},
    {"clean", 1, 8, 0, 0, 0, 0, false},           {"clean", 1, 14, 0, 0, 0, 0, true},
    {"clean", 1, 40, 0, 0, 0, 0, true},           {"false flips", 1, 5, 0.05, 0, 0, 0, false},
    {"false flips", 1, 14, 0.05, 0, 0, 0, false}, {"false flips", 1, 40, 0.05, 0, 0, 0, false},
    {"two slopes", 1, 8, 0, 0.2, 0, 0, false},    {"two slopes", 1, 14, 0, 0.2, 0, 0, true},
    {"two slopes", 1, 40, 0, 0.2, 0, 0, true},    {"curved", 1, 8, 0, 0, 0.015, 0, false},
    {"curved", 1, 14, 0, 0, 0.015, 0, false},     {"curved", 1, 40, 0, 0, 0.015, 0, false},
    {"sessions", 2, 5, 0, 0, 0, 1, false},        {"sessions", 4, 5, 0, 0, 0, 1, false},
    {"sessions", 10, 5, 0, 0, 0, 1, false},
};

typedef struct score {
    double told, held, below, bias, square, width;
} score;

typedef struct result {
    score rows[ROWS];
    double bound[BOUNDARY_ROWS], bounded; /* sums of variances, and of how many runs */
    double curved;                        /* runs */
} result;

static const char *row_name(int row)
{
    return row < BOUNDARY_ROWS    ? boundary_row_name((boundary_row)row)
           : row == BOUNDARY_ROWS ? "up, soft"
                                  : "up, loud";
}

static figure row_figure(const boundary *b, int row)
{
    return row < BOUNDARY_ROWS
               ? boundary_figure(b, (boundary_row)row)
               : boundary_pitch_at(b, FLIP_UP, row == BOUNDARY_ROWS ? SOFT_DB : LOUD_DB);
}

static void truth_of(const simsinger *s, double at_db, double truth[ROWS])
{
    double bend = 2 * s->curve * (at_db - s->at_db);
    truth[BOUNDARY_UP_PITCH] = simpath_boundary(s, FLIP_UP, at_db);
    truth[BOUNDARY_UP_SLOPE] = s->up_slope + bend;
    truth[BOUNDARY_UP_SPREAD] = s->up_spread;
    truth[BOUNDARY_DOWN_PITCH] = simpath_boundary(s, FLIP_DOWN, at_db);
    truth[BOUNDARY_DOWN_SLOPE] = s->down_slope + bend;
    truth[BOUNDARY_DOWN_SPREAD] = s->down_spread;
    truth[BOUNDARY_HYSTERESIS] = truth[BOUNDARY_UP_PITCH] - truth[BOUNDARY_DOWN_PITCH];
    truth[BOUNDARY_UP_LEAP] = s->up_leap_st;
    truth[BOUNDARY_DOWN_LEAP] = s->down_leap_st;
    truth[BOUNDARY_ROWS] = simpath_boundary(s, FLIP_UP, SOFT_DB);
    truth[BOUNDARY_ROWS + 1] = simpath_boundary(s, FLIP_UP, LOUD_DB);
}

static void add_run(const boundary *b, const simsinger *s, result *out)
{
    double truth[ROWS];
    truth_of(s, boundary_at_db(b), truth);
    for (int row = 0; row < ROWS; row++) {
        figure f = row_figure(b, row);
        if (isnan(f.estimate))
            continue;
        score *to = &out->rows[row];
        double error = f.estimate - truth[row];
        to->told += 1;
        to->held += f.lo95 <= truth[row] && truth[row] <= f.hi95;
        to->below += truth[row] < f.lo95;
        to->bias += error;
        to->square += error * error;
        to->width += f.hi95 - f.lo95;
    }
    out->curved += isfinite(boundary_curve(b, NULL).estimate);
}

/* Session by session, each shifted by its own draw. */
static void sing(const cell *c, const simsinger *s, gsl_rng *r, simtake *sung, path *takes,
                 size_t *session)
{
    double scatter = gsl_ran_flat(r, 0, c->scatter);
    for (size_t i = 0; i < c->sessions; i++) {
        simsinger today = *s;
        double shift = gsl_ran_gaussian(r, scatter);
        today.up_st += shift;
        today.down_st += shift;
        for (size_t k = i * c->takes; k < (i + 1) * c->takes; k++) {
            session[k] = i;
            sung[k] = simdraw_take(&today, r);
            takes[k] = simpath_new(&today, &sung[k], "take", r);
        }
    }
}

static bool run_once(const cell *c, gsl_rng *r, gsl_rng *for_bound, result *out)
{
    path takes[MOST_TAKES];
    simtake sung[MOST_TAKES];
    size_t session[MOST_TAKES], n = c->sessions * c->takes;
    simsinger s = simdraw_singer(c->false_share, c->apart, r);
    s.curve = gsl_ran_flat(r, -c->curve, c->curve);
    sing(c, &s, r, sung, takes, session);
    boundary_settings settings = boundary_defaults();
    settings.opt_session = session;
    boundary *b = NULL;
    err e;
    bool fitted = boundary_fit(takes, n, &settings, &b, &e);
    if (fitted) {
        add_run(b, &s, out);
        if (c->bound)
            out->bounded += simbound_add(&s, sung, n, boundary_at_db(b), for_bound, out->bound);
    }
    boundary_free(b);
    for (size_t i = 0; i < n; i++)
        simpath_free(&takes[i]);
    return fitted;
}

static void print_cell(const cell *c, int runs, const result *of)
{
    for (int row = 0; row < ROWS; row++) {
        const score *s = &of->rows[row];
        double rms = sqrt(s->square / s->told);
        char takes[32], bound[32] = "";
        if (c->sessions > 1)
            snprintf(takes, sizeof takes, "%zu x %zu", c->sessions, c->takes);
        else
            snprintf(takes, sizeof takes, "%zu", c->takes);
        if (c->bound && row <= BOUNDARY_HYSTERESIS)
            snprintf(bound, sizeof bound, "%.2f", rms / sqrt(of->bound[row] / of->bounded));
        printf("| %s | %s | %d | %s | %.1f %% | %.1f %% | %.1f %% | %+.3f | %.3f | %s | %.3f |\n",
               c->kind, takes, runs, row_name(row), 100 * s->told / runs, 100 * s->held / s->told,
               100 * s->below / s->told, s->bias / s->told, rms, bound, s->width / s->told);
    }
    fflush(stdout);
}

static void print_head(int runs, int seed)
{
    printf(
        "# Do the intervals hold?\n\n"
        "Written by `make intervals`: %d simulated singers a cell, seed %d. Each singer's boundary "
        "is drawn\nanew (slope -0.1 to 0.4 st/dB, spread 0.3 to 1.2 st, hysteresis 0.5 to 4 st, "
        "take offset 0 to\n0.7 st, leap 0 to 8 st, scattering by 0 to 1.5 st, level drifting by "
        "up to 3 dB a take; seven\nslides to three swells). *False flips*: one take in twenty has "
        "a burst of wrong labels. *Two slopes*:\ndown differs from up by up to 0.2 st/dB. "
        "*Curved*: both boundaries bend by up to 0.015 st/dB^2, 2 st at\n12 dB from the middle. "
        "*Sessions*: so many sessions of five takes, which shift both boundaries with a\nscatter "
        "of 0 to 1 st, in a quarter of the runs. *Told*: the row had an answer. *Held*: of these, "
        "the 95 %% interval held "
        "the truth\n(standard error %.1f points); *below*: the truth lay below it. Bias, root "
        "mean square error and mean\nwidth in the row's unit. *To bound*: that error over Cramer "
        "and Rao's, the least of an unbiased\nestimate of two slopes that takes nothing for "
        "granted. *Soft* and *loud*: 10th and 90th percentile of\nthe level.\n\n"
        "| voices | takes | singers | row | told | held | below | bias | rms error | to bound | "
        "width |\n"
        "|---|---|---|---|---|---|---|---|---|---|---|\n",
        runs, seed, 100 * sqrt(0.95 * 0.05 / runs));
}

/* Several sessions take ten times as long as one. */
static int runs_of(const cell *c, int runs)
{
    return c->sessions > 1 ? (runs + 3) / 4 : runs;
}

/* What is asked, each within two standard errors of the simulation. */
typedef struct demand {
    const char *says;
    bool (*broken)(const score *s, int row, int runs, double to_bound);
} demand;

static bool held_badly(const score *s, int row, int runs, double to_bound)
{
    (void)row, (void)runs, (void)to_bound;
    double held = s->held / s->told;
    return held < 0.93 - 2 * sqrt(0.93 * 0.07 / s->told) ||
           held > 0.97 + 2 * sqrt(0.97 * 0.03 / s->told);
}

static bool told_seldom(const score *s, int row, int runs, double to_bound)
{
    (void)row, (void)to_bound;
    return s->told / runs < 0.9 - 2 * sqrt(0.9 * 0.1 / runs);
}

static bool biased(const score *s, int row, int runs, double to_bound)
{
    (void)runs, (void)to_bound;
    double rms = sqrt(s->square / s->told);
    return (row == BOUNDARY_UP_PITCH || row == BOUNDARY_DOWN_PITCH || row == BOUNDARY_HYSTERESIS) &&
           fabs(s->bias / s->told) > 0.05 + 2 * rms / sqrt(s->told);
}

static bool far_from_bound(const score *s, int row, int runs, double to_bound)
{
    (void)row, (void)runs;
    return to_bound > 1.1 * (1 + 2 / sqrt(2 * s->told));
}

static const demand demands[] = {
    {"Held in less than 93 or more than 97 %", held_badly},
    {"Told in less than 90 %", told_seldom},
    {"Pitch or hysteresis biased by more than 0.05 st", biased},
    {"Error more than a tenth above the bound", far_from_bound},
};

static void print_demands(const result *results, int runs)
{
    enum { CELLS = sizeof cells / sizeof *cells };
    puts("\nBy more than two standard errors of the simulation:\n");
    for (size_t k = 0; k < sizeof demands / sizeof *demands; k++) {
        size_t broken = 0;
        printf("- %s:", demands[k].says);
        for (size_t i = 0; i < CELLS; i++)
            for (int row = 0; row < ROWS; row++) {
                const score *s = &results[i].rows[row];
                double to_bound = 0;
                if (!(s->told > 0))
                    continue;
                if (cells[i].bound && row <= BOUNDARY_HYSTERESIS)
                    to_bound =
                        sqrt(s->square / s->told / (results[i].bound[row] / results[i].bounded));
                if (!demands[k].broken(s, row, runs_of(&cells[i], runs), to_bound))
                    continue;
                printf("%s %s of %s, %zu", broken++ ? ";" : "", row_name(row), cells[i].kind,
                       cells[i].sessions * cells[i].takes);
            }
        puts(broken ? "." : " none.");
    }
    printf("\nA curve was chosen in");
    for (size_t i = 0; i < CELLS; i++)
        printf("%s %.0f %% of %s, %zu", i ? "," : "",
               100 * results[i].curved / runs_of(&cells[i], runs), cells[i].kind,
               cells[i].sessions * cells[i].takes);
    puts(".");
}

int main(int argc, char **argv)
{
    enum { CELLS = sizeof cells / sizeof *cells };
    static result results[CELLS];
    int runs = argc > 1 ? atoi(argv[1]) : 200, seed = argc > 3 ? atoi(argv[3]) : SEED;
    if (runs < 1) {
        fputs("intervals [RUNS [KIND [SEED]]]: how many runs a cell, 1 or more\n", stderr);
        return 2;
    }
    print_head(runs, seed);
    for (size_t i = 0; i < CELLS; i++) {
        int of_cell = runs_of(&cells[i], runs);
        if (argc > 2 && strcmp(argv[2], cells[i].kind) != 0)
            continue;
        gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937), *for_bound = gsl_rng_clone(r);
        gsl_rng_set(r, (unsigned long)seed + i);
        gsl_rng_set(for_bound, (unsigned long)seed + CELLS + i);
        for (int k = 0; k < of_cell; k++)
            if (!run_once(&cells[i], r, for_bound, &results[i]))
                return 1;
        print_cell(&cells[i], of_cell, &results[i]);
        gsl_rng_free(r);
        gsl_rng_free(for_bound);
    }
    print_demands(results, runs);
    return fflush(stdout) == 0 ? 0 : 1;
}
