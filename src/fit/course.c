/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/course.h"

#include "base/array.h"
#include "fit/estimate.h"

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
 * two sessions hold in 81 %. */
enum { MANY_SESSIONS = 4 };

/* The takes of the other sessions; NULL where they do not tell both directions. */
static boundary *others_new(const path *paths, size_t n_paths, const course_session *own,
                            const size_t *session, boundary_settings s)
{
    size_t n = n_paths - own->n, after = own->first + own->n;
    path *rest = xmalloc(n, sizeof *rest);
    size_t *number = xmalloc(n, sizeof *number);
    boundary *b = NULL;
    err ignored;
    for (size_t i = 0, k = 0; i < n_paths; i++)
        if (i < own->first || i >= after) {
            rest[k] = paths[i];
            number[k++] = session[i];
        }
    s.like = NULL;
    s.opt_session = number;
    const estimate *e = boundary_fit(rest, n, &s, &b, &ignored) ? boundary_estimate(b) : NULL;
    free(rest);
    free(number);
    if (e && e->fitted[FLIP_UP] && e->fitted[FLIP_DOWN] && e->fit.settled)
        return b;
    boundary_free(b);
    return NULL;
}

bool course_fit(const path *paths, size_t n_paths, const course_session *sessions, size_t n,
                double at_db, course *out, err *e)
{
    boundary_settings s = boundary_defaults();
    err ignored;
    *out = (course){0};
    s.at_db = at_db;
    size_t *session = session_numbers(n_paths, sessions, n);
    s.opt_session = session;
    if (!boundary_fit(paths, n_paths, &s, &out->whole, e)) {
        free(session);
        return false;
    }
    s.opt_session = NULL;
    out->n = n;
    out->at_db = s.at_db = boundary_at_db(out->whole);
    out->rows = xcalloc(n, sizeof *out->rows);
    out->month = xcalloc(n, sizeof *out->month);
    out->sessions = xcalloc(n, sizeof *out->sessions);
    for (size_t i = 0; i < n; i++) {
        boundary *others = NULL;
        if (n < MANY_SESSIONS)
            others = others_new(paths, n_paths, &sessions[i], session, s);
        s.like = n < MANY_SESSIONS ? others : out->whole;
        if (!boundary_fit(paths + sessions[i].first, sessions[i].n, &s, &out->sessions[i],
                          &ignored))
            out->sessions[i] = NULL;
        boundary_free(others);
        rows_of(out->sessions[i], out->rows[i]);
        out->month[i] = (sessions[i].day - sessions[0].day) / MONTH_DAYS;
    }
    free(session);
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
