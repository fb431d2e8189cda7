/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How often the boundary's 95 % intervals hold the truth, by number of takes: singers drawn from
 * ranges, their takes simulated, fitted as anyone's. Prints the first table of docs/intervals.md.
 *
 *   intervals [RUNS [CELL [SEED]]]     runs a cell, 200; the rows of this cell alone, 1 and up, the
 *                                      same as in the whole table; 1200 */
#include "base/array.h"
#include "fit/boundary.h"
#include "fit/course.h"
#include "voice/simbound.h"
#include "voice/simdraw.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include <gsl/gsl_randist.h>

enum { SEED = 1200, MOST_SESSIONS = 10, MOST_TAKES = 64, ROWS = BOUNDARY_ROWS + 2 };
/* 10th and 90th percentile of the levels that are drawn. */
static const double SOFT_DB = 60.4, LOUD_DB = 79.6;

typedef enum scored {
    ALL,
    BOUNDED, /* nothing that the bound's model does not have */
    EACH     /* each session, fitted as one of a course */
} scored;

/* A cell of the table: so many takes, of voices of one kind. */
typedef struct cell {
    const char *kind;
    size_t sessions, takes; /* takes a session */
    double false_share;     /* of takes that have a burst of wrong labels */
    double apart;           /* half the range of the difference between the slopes */
    double curve;           /* half the range of the curvature */
    double scatter;         /* the most of the scatter between sessions */
    scored scored;
} cell;

static const cell cells[] = {
    {"clean", 1, 4, 0, 0, 0, 0, ALL},
    {"clean", 1, 5, 0, 0, 0, 0, ALL},
    {"clean", 1, 8, 0, 0, 0, 0, ALL},
    {"clean", 1, 14, 0, 0, 0, 0, BOUNDED},
    {"clean", 1, 40, 0, 0, 0, 0, BOUNDED},
    {"false flips", 1, 5, 0.05, 0, 0, 0, ALL},
    {"false flips", 1, 14, 0.05, 0, 0, 0, ALL},
    {"false flips", 1, 40, 0.05, 0, 0, 0, ALL},
    {"two slopes", 1, 8, 0, 0.2, 0, 0, ALL},
    {"two slopes", 1, 14, 0, 0.2, 0, 0, BOUNDED},
    {"two slopes", 1, 40, 0, 0.2, 0, 0, BOUNDED},
    {"curved", 1, 8, 0, 0, 0.015, 0, ALL},
    {"curved", 1, 14, 0, 0, 0.015, 0, ALL},
    {"curved", 1, 40, 0, 0, 0.015, 0, ALL},
    {"sessions", 2, 5, 0, 0, 0, 1, ALL},
    {"sessions", 4, 5, 0, 0, 0, 1, ALL},
    {"sessions", 10, 5, 0, 0, 0, 1, ALL},
    {"each session", 2, 5, 0, 0, 0, 1, EACH},
    {"each session", 3, 5, 0, 0, 0, 1, EACH},
    {"each session", 4, 5, 0, 0, 0, 1, EACH},
};

typedef struct score {
    double told, held, below, bias, square, width;
} score;

typedef struct result {
    score rows[ROWS];
    double bound[BOUNDARY_ROWS], bounded; /* sums of variances, and of how many runs */
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
}

/* What was sung, session by session. */
typedef struct course_sung {
    path takes[MOST_TAKES];
    simtake how[MOST_TAKES];
    size_t n, session[MOST_TAKES];
    simsinger singer[MOST_SESSIONS]; /* shifted by the session's own draw */
    course_session sessions[MOST_SESSIONS];
} course_sung;

static void sing(const cell *c, const simsinger *s, gsl_rng *r, course_sung *out)
{
    double scatter = gsl_ran_flat(r, 0, c->scatter);
    out->n = c->sessions * c->takes;
    for (size_t i = 0; i < c->sessions; i++) {
        simsinger *today = &out->singer[i];
        double shift = gsl_ran_gaussian(r, scatter);
        *today = *s;
        today->up_st += shift;
        today->down_st += shift;
        out->sessions[i] = (course_session){i * c->takes, c->takes, (double)i};
        for (size_t k = i * c->takes; k < (i + 1) * c->takes; k++) {
            out->session[k] = i;
            out->how[k] = simdraw_take(today, r);
            out->takes[k] = simpath_new(today, &out->how[k], "take", r);
        }
    }
}

static bool fit_each(const course_sung *sung, size_t sessions, result *out)
{
    course found;
    err e;
    if (!course_fit(sung->takes, sung->n, sung->sessions, sessions, (double)NAN, &found, &e))
        return false;
    for (size_t i = 0; i < sessions; i++)
        if (found.sessions[i])
            add_run(found.sessions[i], &sung->singer[i], out);
    course_clear(&found);
    return true;
}

static bool fit_all(const cell *c, const course_sung *sung, const simsinger *s, gsl_rng *for_bound,
                    result *out)
{
    boundary_settings settings = boundary_defaults();
    settings.opt_session = sung->session;
    boundary *b = NULL;
    err e;
    if (!boundary_fit(sung->takes, sung->n, &settings, &b, &e))
        return false;
    add_run(b, s, out);
    if (c->scored == BOUNDED)
        out->bounded +=
            simbound_add(s, sung->how, sung->n, boundary_at_db(b), for_bound, out->bound);
    boundary_free(b);
    return true;
}

static bool run_once(const cell *c, gsl_rng *r, gsl_rng *for_bound, result *out)
{
    static course_sung sung;
    simsinger s = simdraw_singer(c->false_share, c->apart, r);
    s.curve = gsl_ran_flat(r, -c->curve, c->curve);
    sing(c, &s, r, &sung);
    bool fitted = c->scored == EACH ? fit_each(&sung, c->sessions, out)
                                    : fit_all(c, &sung, &s, for_bound, out);
    for (size_t i = 0; i < sung.n; i++)
        simpath_free(&sung.takes[i]);
    return fitted;
}

/* What is asked of so many runs; fewer than 2,000 may miss it by two standard errors. */
enum { LONG_FORM = 2000 };

static double allowance(int runs, double share)
{
    return runs < LONG_FORM ? 2 * sqrt(share * (1 - share) / runs) : 0;
}

static bool held_badly(const score *s, int runs)
{
    double held = s->held / s->told;
    return held < 0.93 - allowance(runs, 0.93) || held > 0.97 + allowance(runs, 0.97);
}

static bool biased(const score *s, int row, int runs)
{
    double error = runs < LONG_FORM ? 2 * sqrt(s->square) / s->told : 0;
    return (row == BOUNDARY_UP_PITCH || row == BOUNDARY_DOWN_PITCH || row == BOUNDARY_HYSTERESIS) &&
           fabs(s->bias / s->told) > 0.05 + error;
}

static bool far_from_bound(const score *s, int runs, double to_bound)
{
    return to_bound > 1.1 * (runs < LONG_FORM ? 1 + 2 / sqrt(2 * s->told) : 1);
}

/* NaN where there is no bound. */
static double to_bound(const cell *c, const result *of, int row)
{
    if (c->scored != BOUNDED || row > BOUNDARY_HYSTERESIS)
        return (double)NAN;
    return sqrt(of->rows[row].square / of->rows[row].told / (of->bound[row] / of->bounded));
}

static void print_row(const cell *c, int runs, unsigned long seed, const result *of, int row)
{
    const score *s = &of->rows[row];
    int fits = c->scored == EACH ? runs * (int)c->sessions : runs;
    double over = to_bound(c, of, row);
    char takes[32], bound[32] = "";
    if (c->sessions > 1)
        snprintf(takes, sizeof takes, "%zu x %zu", c->sessions, c->takes);
    else
        snprintf(takes, sizeof takes, "%zu", c->takes);
    if (isfinite(over))
        snprintf(bound, sizeof bound, "%.2f", over);
    printf("| %s | %s | %d | %lu | %s | %.1f %% | %.1f %% | %.1f %% | %+.3f | %.3f | %s | %.3f |",
           c->kind, takes, runs, seed, row_name(row), 100 * s->told / fits, 100 * s->held / s->told,
           100 * s->below / s->told, s->bias / s->told, sqrt(s->square / s->told), bound,
           s->width / s->told);
    printf("%s%s%s%s |\n", s->told / fits < 0.9 - allowance(runs, 0.9) ? " told" : "",
           held_badly(s, runs) ? " held" : "", biased(s, row, runs) ? " bias" : "",
           far_from_bound(s, runs, over) ? " bound" : "");
}

static void print_head(void)
{
    puts("# Do the intervals hold?\n\n"
         "Written by `make intervals`. Each row is of so many simulated *singers*, drawn with its "
         "*seed*, which no\nfigure of the fit was chosen with. Each singer's boundary is drawn "
         "anew (slope -0.1 to 0.4 st/dB, spread 0.3 to 1.2 st,\nhysteresis 0.5 to 4 st, take "
         "offset 0 to 0.7 st, leap 0 to 8 st, scattering by 0 to 1.5 st, level drifting by\nup to "
         "3 dB a take; seven slides to three swells). *False flips*: one take in twenty has a "
         "burst of wrong\nlabels. *Two slopes*: down differs from up by up to 0.2 st/dB. "
         "*Curved*: both boundaries bend by up to\n0.015 st/dB^2, 2 st at 12 dB from the middle. "
         "*Sessions*: so many sessions of five takes, which shift both\nboundaries with a scatter "
         "of 0 to 1 st; the truth is the voice's without a shift. *Each session*: of such ones, as "
         "`progress`\nfits it; the truth is the session's own. *Told*: the row had an answer. "
         "*Held*: of these,\nthe 95 % interval held the truth; *below*: the truth lay below it. "
         "Bias, root mean square error and mean width in\nthe row's unit. *To bound*: that error "
         "over Cramer and Rao's, the least of an unbiased estimate of two slopes that\ntakes "
         "nothing for granted. *Soft* and *loud*: 10th and 90th percentile of the level.\n\n"
         "*Short of*: what is asked and not reached: *told* in 90 % or more, *held* in 93 to 97 "
         "%, *bias* of a pitch or the\nhysteresis of 0.05 st at the most, error at most a tenth "
         "above the *bound*; with fewer than 2,000 singers, by more\nthan two standard errors of "
         "the simulation.\n\n"
         "| voices | takes | singers | seed | row | told | held | below | bias | rms error | to "
         "bound | width | short of |\n"
         "|---|---|---|---|---|---|---|---|---|---|---|---|---|");
}

static bool run_cell(const cell *c, int runs, unsigned long seed)
{
    static result of;
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937), *for_bound = gsl_rng_clone(r);
    gsl_rng_set(r, seed);
    gsl_rng_set(for_bound, seed + 500);
    bool fine = true;
    of = (result){0};
    for (int k = 0; fine && k < runs; k++)
        fine = run_once(c, r, for_bound, &of);
    for (int row = 0; fine && row < ROWS; row++)
        print_row(c, runs, seed, &of, row);
    fflush(stdout);
    gsl_rng_free(r);
    gsl_rng_free(for_bound);
    return fine;
}

int main(int argc, char **argv)
{
    enum { CELLS = sizeof cells / sizeof *cells };
    int runs = argc > 1 ? atoi(argv[1]) : 200, only = argc > 2 ? atoi(argv[2]) : 0;
    unsigned long seed = argc > 3 ? strtoul(argv[3], NULL, 10) : SEED;
    if (runs < 1 || only < 0 || only > CELLS) {
        fprintf(stderr, "intervals [RUNS [CELL [SEED]]]: runs a cell, 1 or more; cell 1 to %d\n",
                CELLS);
        return 2;
    }
    if (!only)
        print_head();
    for (int i = 0; i < CELLS; i++)
        if ((!only || i + 1 == only) && !run_cell(&cells[i], runs, seed + (unsigned long)i))
            return 1;
    return fflush(stdout) == 0 ? 0 : 1;
}
