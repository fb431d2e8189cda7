/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "command/follow.h"

#include "base/array.h"
#include "command/boundary_table.h"
#include "fit/plan.h"
#include "fit/ranges.h"
#include "sound/date.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const boundary_row follow_rows[FOLLOW_ROWS] = {BOUNDARY_UP_PITCH, BOUNDARY_DOWN_PITCH,
                                               BOUNDARY_HYSTERESIS, BOUNDARY_UP_LEAP,
                                               BOUNDARY_DOWN_LEAP};

bool follow_course(const plane *p, double at_db, course *out, err *e)
{
    path *paths = xcalloc(p->n, sizeof *paths);
    course_session *sessions = xcalloc(p->n_sessions, sizeof *sessions);
    size_t n = 0;
    for (size_t i = 0; i < p->n_sessions; i++) {
        const plane_session *s = &p->sessions[i];
        size_t counting;
        path *own = plane_counting(p, s->first, s->n, &counting);
        memcpy(paths + n, own, counting * sizeof *paths);
        free(own);
        sessions[i] = (course_session){n, counting, date_days(s->date)};
        n += counting;
    }
    bool ok = course_fit(paths, n, sessions, p->n_sessions, at_db, out, e);
    free(sessions);
    free(paths);
    return ok;
}

/* The levels of the picture beside the middle one; false when they are not told or lie within 4 dB,
 * which are not soft and loud. */
static bool soft_and_loud(const plane *p, const boundary *b, double at_db[2])
{
    plan_reach reach;
    double lo, hi;
    if (p->pitch_only || !plan_reach_of(p->paths, p->n, &reach) ||
        !boundary_levels(b, FLIP_UP, &lo, &hi))
        return false;
    at_db[0] = fmax(reach.soft_db, lo);
    at_db[1] = fmin(reach.loud_db, hi);
    double middle = boundary_at_db(b);
    return at_db[1] - at_db[0] >= 4 && at_db[0] < middle && middle < at_db[1];
}

bool follow_levels(const plane *p, double at_db, double assumed_scatter_st, progress_levels *out,
                   err *e)
{
    double beside[2];
    *out = (progress_levels){.assumed_scatter_st = assumed_scatter_st};
    if (!follow_course(p, at_db, &out->courses[0], e))
        return false;
    out->n = 1;
    out->first_day = date_days(p->sessions[0].date);
    out->zones = xcalloc(p->n_sessions, sizeof *out->zones);
    for (size_t i = 0; i < p->n_sessions; i++)
        out->zones[i] = ranges_zone(p->paths + p->sessions[i].first, p->sessions[i].n);
    bool ok = true;
    if (isnan(at_db) && soft_and_loud(p, out->courses[0].whole, beside))
        for (int k = 0; ok && k < 2; k++) {
            ok = follow_course(p, beside[k], &out->courses[out->n], e);
            out->n += ok;
        }
    if (!ok)
        progress_levels_clear(out);
    return ok;
}

void follow_cells(table_writer *w, double at_db, const char *parameter, figure f, const char *unit)
{
    table_number(w, at_db, 2);
    boundary_table_row(w, parameter, f, unit);
}

static const figure untold = {(double)NAN, (double)NAN, (double)NAN};

void follow_boundary(table_writer *w, const char *who, double at_db, const boundary *b_or_null)
{
    for (int row = 0; row < BOUNDARY_ROWS; row++) {
        table_text(w, who);
        follow_cells(w, at_db, boundary_row_name((boundary_row)row),
                     b_or_null ? boundary_figure(b_or_null, (boundary_row)row) : untold,
                     boundary_row_unit((boundary_row)row));
    }
}

void follow_pitches(table_writer *w, const char *who, double at_db, const boundary *b_or_null)
{
    for (int r = 0; r < 3; r++) {
        table_text(w, who);
        follow_cells(w, at_db, boundary_row_name(follow_rows[r]),
                     b_or_null ? boundary_figure(b_or_null, follow_rows[r]) : untold, "st");
    }
}

static void change_row(table_writer *w, const char *who, double at_db, boundary_row row,
                       const char *what, figure f, const char *unit)
{
    char *name = xformat("%s.%s", boundary_row_name(row), what);
    table_text(w, who);
    follow_cells(w, at_db, name, f, unit);
    free(name);
}

static figure alone(double value)
{
    return (figure){value, (double)NAN, (double)NAN};
}

void follow_change(table_writer *w, const char *who, double at_db, boundary_row row,
                   const char *what, const scatter_fit *f_or_null, const char *per)
{
    const scatter_fit *f = f_or_null;
    char *detectable = xformat("%s.detectable", what), *scatter = xformat("%s.scatter", what);
    change_row(w, who, at_db, row, what, f ? scatter_figure(f, 1) : untold, per);
    change_row(w, who, at_db, row, detectable, f ? alone(scatter_detectable(f, 1)) : untold, per);
    change_row(w, who, at_db, row, scatter, f ? alone(f->scatter) : untold, "st");
    free(detectable);
    free(scatter);
}
