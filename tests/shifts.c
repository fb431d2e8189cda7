/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How often the test of a shift calls unchanged voices changed, and changed ones changed: singers
 * drawn from ranges, whose boundary scatters from session to session. Prints the second table of
 * docs/intervals.md.
 *
 *   shifts [RUNS [CELL]]     runs a cell, 200; the rows of this cell alone, 1 and up */
#include "base/array.h"
#include "fit/course.h"
#include "voice/simdraw.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include <gsl/gsl_randist.h>

enum { SEED = 1100, MOST_SESSIONS = 12, MOST_TAKES = 96 };
static const double STEP_DAYS = 14;

typedef enum question { ASK_SHIFT, ASK_TREND, QUESTIONS } question;
static const char *const question_names[QUESTIONS] = {"shift, half and half", "trend"};

typedef struct cell {
    size_t sessions, takes; /* takes a session */
    double scatter_st;      /* of both boundaries from session to session */
    double moved_st;        /* from the first to the last session, or from half to half */
} cell;

static const cell cells[] = {
    {4, 5, 0, 0}, {4, 5, 0.7, 0}, {4, 5, 1, 0},    {6, 5, 0, 0},   {6, 5, 0.3, 0}, {6, 5, 0.7, 0},
    {6, 5, 1, 0}, {10, 5, 0, 0},  {10, 5, 0.7, 0}, {4, 5, 0.7, 2}, {6, 5, 0.7, 1},
};

typedef struct score {
    double told, called, held, detectable, scatter;
} score;

static double moved(const cell *c, question q, size_t session)
{
    if (q == ASK_SHIFT)
        return 2 * session >= c->sessions ? c->moved_st : 0;
    return c->moved_st * (double)session / (double)(c->sessions - 1);
}

/* All takes of a course, session by session. */
static void sing(const cell *c, question q, const simsinger *s, path *takes,
                 course_session *sessions, gsl_rng *r)
{
    for (size_t i = 0; i < c->sessions; i++) {
        simsinger today = *s;
        double shift = moved(c, q, i) + gsl_ran_gaussian(r, c->scatter_st);
        today.up_st += shift;
        today.down_st += shift;
        sessions[i] = (course_session){i * c->takes, c->takes, STEP_DAYS * (double)i};
        for (size_t k = 0; k < c->takes; k++) {
            simtake t = simdraw_take(&today, r);
            takes[i * c->takes + k] = simpath_new(&today, &t, "take", r);
        }
    }
}

/* What is asked of up.pitch, in semitones over the whole course. */
static void add_run(const cell *c, question q, const course *found, score *s)
{
    scatter_fit fit;
    double whole = q == ASK_SHIFT ? 1 : found->month[c->sessions - 1];
    bool told = q == ASK_SHIFT ? course_shift(found, BOUNDARY_UP_PITCH, c->sessions / 2,
                                              COURSE_SCATTER_ST, &fit)
                               : course_trend(found, BOUNDARY_UP_PITCH, COURSE_SCATTER_ST, &fit);
    if (!told)
        return;
    figure f = scatter_figure(&fit, 1);
    s->told += 1;
    s->called += f.lo95 > 0 || f.hi95 < 0;
    s->held += whole * f.lo95 <= c->moved_st && c->moved_st <= whole * f.hi95;
    s->detectable += whole * scatter_detectable(&fit, 1);
    s->scatter += fit.scatter;
}

/* One course for the questions from `q` on, before `end`: what moved is the same for them. */
static bool run_once(const cell *c, int q, int end, gsl_rng *r, score scores[QUESTIONS])
{
    path takes[MOST_TAKES];
    course_session sessions[MOST_SESSIONS];
    simsinger singer = simdraw_singer(0, 0, r);
    course found;
    err e;
    sing(c, (question)q, &singer, takes, sessions, r);
    bool fitted =
        course_fit(takes, c->sessions * c->takes, sessions, c->sessions, (double)NAN, &found, &e);
    if (fitted) {
        for (int k = q; k < end; k++)
            add_run(c, (question)k, &found, &scores[k]);
        course_clear(&found);
    }
    for (size_t i = 0; i < c->sessions * c->takes; i++)
        simpath_free(&takes[i]);
    return fitted;
}

/* Called in less than 4 or more than 6 %, beyond two standard errors of the simulation. */
static bool off_level(const cell *c, const score *s)
{
    double error = 2 * sqrt(0.05 * 0.95 / s->told);
    return c->moved_st == 0 && fabs(s->called / s->told - 0.05) > 0.01 + error;
}

static void print_cell(const cell *c, question q, int runs, unsigned long seed, const score *s)
{
    printf(
        "| %s | %zu | %zu | %d | %lu | %.1f | %.1f | %.1f %% | %.1f %%%s | %.1f %% | %.2f | %.2f "
        "|\n",
        question_names[q], c->sessions, c->takes, runs, seed, c->scatter_st, c->moved_st,
        100 * s->told / runs, 100 * s->called / s->told, off_level(c, s) ? " !" : "",
        100 * s->held / s->told, s->scatter / s->told, s->detectable / s->told);
    fflush(stdout);
}

static bool run_questions(size_t i, int q, int end, int runs)
{
    score scores[QUESTIONS] = {{0}};
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r, SEED + i);
    bool fine = true;
    for (int k = 0; fine && k < runs; k++)
        fine = run_once(&cells[i], q, end, r, scores);
    for (int k = q; fine && k < end; k++)
        print_cell(&cells[i], (question)k, runs, SEED + i, &scores[k]);
    gsl_rng_free(r);
    return fine;
}

/* What did not move is the same for both questions. */
static bool run_cell(size_t i, int runs)
{
    if (cells[i].moved_st == 0)
        return run_questions(i, 0, QUESTIONS, runs);
    bool fine = true;
    for (int q = 0; fine && q < QUESTIONS; q++)
        fine = run_questions(i, q, q + 1, runs);
    return fine;
}

static void print_head(void)
{
    printf("\n## Is a change real?\n\n"
           "So many *courses* of simulated singers, drawn with their *seed* as above, a session "
           "every %.0f days; all of a\nsession's boundary is moved by N(0, *scatter*). *Moved*: "
           "by how much up.pitch really moved, from the first half of the\nsessions to the second "
           "or evenly over them. *Called*: how often the 95 %% interval of the change excludes "
           "none; where\nnothing moved this should be 4 to 6 %% (standard error %.1f points of "
           "400 courses, %.1f of 2,000; ! where more than two\nof them beyond), else it is the "
           "power. *Held*: how often the interval held the true change. *Found* and "
           "*detectable*:\nmean scatter found, and mean of the smallest change that such data "
           "show in four of five cases, st.\n\n"
           "| asked | sessions | takes each | courses | seed | scatter | moved | told | called | "
           "held | found | detectable |\n|---|---|---|---|---|---|---|---|---|---|---|---|\n",
           STEP_DAYS, 100 * sqrt(0.95 * 0.05 / 400), 100 * sqrt(0.95 * 0.05 / 2000));
}

int main(int argc, char **argv)
{
    enum { CELLS = sizeof cells / sizeof *cells };
    int runs = argc > 1 ? atoi(argv[1]) : 200, only = argc > 2 ? atoi(argv[2]) : 0;
    if (runs < 1 || only < 0 || only > CELLS) {
        fprintf(stderr, "shifts [RUNS [CELL]]: runs a cell, 1 or more; cell 1 to %d\n", CELLS);
        return 2;
    }
    if (!only)
        print_head();
    for (int i = 0; i < CELLS; i++)
        if ((!only || i + 1 == only) && !run_cell((size_t)i, runs))
            return 1;
    return fflush(stdout) == 0 ? 0 : 1;
}
