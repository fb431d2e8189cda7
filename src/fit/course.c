/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/course.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double MONTH_DAYS = 365.25 / 12;

static void rows_of(const boundary *b_or_null, figure rows[BOUNDARY_ROWS])
{
    const double nan = (double)NAN;
    for (int row = 0; row < BOUNDARY_ROWS; row++)
        rows[row] =
            b_or_null ? boundary_figure(b_or_null, (boundary_row)row) : (figure){nan, nan, nan};
}

static size_t *session_numbers(size_t n_paths, const course_session *sessions, size_t n)
{
    size_t *number = xcalloc(n_paths, sizeof *number);
    for (size_t i = 0; i < n; i++)
        for (size_t k = 0; k < sessions[i].n; k++)
            number[sessions[i].first + k] = i;
    return number;
}

/* From so many sessions on, what a session itself has told of the slopes and spreads of all is
 * small enough to be expected of it again; with fewer its takes would count twice, and intervals of
 * two sessions hold in 81 %. What one or two others tell of these is not much either: a session
 * then tells what its own takes do. */
enum { MANY_SESSIONS = 4 };

bool course_fit(const path *paths, size_t n_paths, const course_session *sessions, size_t n,
                double at_db, course *out, err *e)
{
    boundary_settings s = boundary_defaults();
    err ignored;
    *out = (course){0};
    s.at_db = at_db;
    size_t *session = session_numbers(n_paths, sessions, n);
    s.opt_session = session;
    bool told = boundary_fit(paths, n_paths, &s, &out->whole, e);
    free(session);
    if (!told)
        return false;
    s.opt_session = NULL;
    s.like = n < MANY_SESSIONS ? NULL : out->whole;
    out->n = n;
    out->at_db = s.at_db = boundary_at_db(out->whole);
    out->rows = xcalloc(n, sizeof *out->rows);
    out->month = xcalloc(n, sizeof *out->month);
    out->sessions = xcalloc(n, sizeof *out->sessions);
    for (size_t i = 0; i < n; i++) {
        if (!boundary_fit(paths + sessions[i].first, sessions[i].n, &s, &out->sessions[i],
                          &ignored))
            out->sessions[i] = NULL;
        rows_of(out->sessions[i], out->rows[i]);
        out->month[i] = (sessions[i].day - sessions[0].day) / MONTH_DAYS;
    }
    return true;
}

void course_clear(course *c)
{
    for (size_t i = 0; i < c->n; i++)
        boundary_free(c->sessions[i]);
    boundary_free(c->whole);
    free(c->sessions);
    free(c->rows);
    free(c->month);
    *c = (course){0};
}

/* An interval of few flips is wider than a normal one of its standard error; here the error is that
 * of the normal interval as wide. */
static const double NORMAL_WIDTH = 2 * 1.959963984540054;
/* A session's own error is known by and by; weights that follow it closely follow its chance too,
 * and make the error of the sessions' mean look smaller than it is. So errors are drawn so far to
 * their geometric mean: unmoved boundaries of four sessions were called moved in 7.0 % as they
 * come, in 5.9 % so, of six in 6.1 and 5.4 % (250 courses each of other seeds than
 * docs/intervals.md). */
static const double DRAWN_IN = 0.75;

static void draw_in(scatter_point *points, size_t n)
{
    double sum = 0, told = 0;
    for (size_t i = 0; i < n; i++)
        if (points[i].error > 0) {
            sum += log(points[i].error);
            told++;
        }
    for (size_t i = 0; i < n; i++)
        points[i].error = exp(DRAWN_IN * sum / told + (1 - DRAWN_IN) * log(points[i].error));
}

scatter_point *course_points(const course *c, boundary_row row, const double *opt_x1)
{
    scatter_point *points = xcalloc(c->n, sizeof *points);
    for (size_t i = 0; i < c->n; i++) {
        figure f = c->rows[i][row];
        points[i] = (scatter_point){f.estimate, (f.hi95 - f.lo95) / NORMAL_WIDTH, {1, 0}};
        if (opt_x1)
            points[i].x[1] = opt_x1[i];
    }
    draw_in(points, c->n);
    return points;
}

static bool regress(const course *c, boundary_row row, const double *x1, double assumed,
                    scatter_fit *out)
{
    scatter_point *points = course_points(c, row, x1);
    bool told = scatter_regress(points, c->n, 2, assumed, out);
    free(points);
    return told;
}

bool course_trend(const course *c, boundary_row row, double assumed, scatter_fit *out)
{
    return regress(c, row, c->month, assumed, out);
}

bool course_shift(const course *c, boundary_row row, size_t from, double assumed, scatter_fit *out)
{
    double *later = xcalloc(c->n, sizeof *later);
    for (size_t i = from; i < c->n; i++)
        later[i] = 1;
    bool told = regress(c, row, later, assumed, out);
    free(later);
    return told;
}
