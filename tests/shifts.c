/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How often the test of a shift calls unchanged voices changed, and changed ones changed: singers
 * drawn from ranges, whose boundary scatters from session to session. Prints the second table of
 * docs/intervals.md.
 *
 *   shifts [RUNS]     runs a cell, 200 */
#include "base/array.h"
#include "fit/course.h"
#include "voice/simdraw.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include <gsl/gsl_randist.h>

enum { SEED = 40, MOST_SESSIONS = 12, MOST_TAKES = 96 };
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

static void print_cell(const cell *c, question q, int runs, const score *s)
{
    printf("| %s | %zu | %zu | %.1f | %.1f | %.1f %% | %.1f %% | %.1f %% | %.2f | %.2f |\n",
           question_names[q], c->sessions, c->takes, c->scatter_st, c->moved_st,
           100 * s->told / runs, 100 * s->called / s->told, 100 * s->held / s->told,
           s->scatter / s->told, s->detectable / s->told);
}

static bool run_cell(size_t i, int q, int end, int runs)
{
    score scores[QUESTIONS] = {{0}};
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r, SEED + i);
    bool fine = true;
    for (int k = 0; fine && k < runs; k++)
        fine = run_once(&cells[i], q, end, r, scores);
    for (int k = q; fine && k < end; k++)
        print_cell(&cells[i], (question)k, runs, &scores[k]);
    gsl_rng_free(r);
    return fine;
}

static void print_head(int runs)
{
    printf("\n## Is a change real?\n\n"
           "%d simulated singers a cell, seed %d, drawn as above, a session every %.0f days; all "
           "of a session's\nboundary is moved by N(0, *scatter*). *Moved*: by how much up.pitch "
           "really moved, from the first half\nof the sessions to the second or evenly over them. "
           "*Called*: how often the 95 %% interval of the\nchange excludes none; where nothing "
           "moved this should be 5 %% (standard error %.1f points), else it is\nthe power. "
           "*Found* and *detectable*: mean scatter found, and mean of the smallest change that "
           "such data\nshow in four of five cases, st.\n\n"
           "| asked | sessions | takes each | scatter | moved | told | called | held | found | "
           "detectable |\n|---|---|---|---|---|---|---|---|---|---|\n",
           runs, SEED, STEP_DAYS, 100 * sqrt(0.95 * 0.05 / runs));
}

int main(int argc, char **argv)
{
    int runs = argc > 1 ? atoi(argv[1]) : 200;
    if (runs < 1) {
        fputs("shifts [RUNS]: how many runs a cell, 1 or more\n", stderr);
        return 2;
    }
    print_head(runs);
    for (size_t i = 0; i < sizeof cells / sizeof *cells; i++) {
        bool still = cells[i].moved_st == 0;
        if (still && !run_cell(i, 0, QUESTIONS, runs))
            return 1;
        for (int q = 0; !still && q < QUESTIONS; q++)
            if (!run_cell(i, q, q + 1, runs))
                return 1;
    }
    return fflush(stdout) == 0 ? 0 : 1;
}
