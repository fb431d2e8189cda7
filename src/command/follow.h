/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_FOLLOW_H
#define COMMAND_FOLLOW_H

/* A singer's sessions, each with its boundary, and rows about what moved, as `progress` and
 * `compare` print them. */

#include "base/table.h"
#include "fit/course.h"
#include "journal/plane.h"
#include "show/progress.h"

/* The rows that are compared: pitches, hysteresis and leaps. */
enum { FOLLOW_ROWS = 5 };
extern const boundary_row follow_rows[FOLLOW_ROWS];

/* The boundaries of a plane's sessions over the takes that count, at one level (NaN: the median).
 * False when no take has a label. The plane has to outlive it; free with course_clear. */
bool follow_course(const plane *p, double at_db, course *out, err *e);

/* The same for a picture: at at_db alone, or for NaN at the median and beside it soft and loud, the
 * 10th and 90th percentile of the level sung, where these are levels at which the boundary was
 * come to and lie apart. Free with progress_levels_clear. */
bool follow_levels(const plane *p, double at_db, double assumed_scatter_st, progress_levels *out,
                   err *e);

/* The cells at_db parameter estimate lo95 hi95 unit, after the first. */
void follow_cells(table_writer *w, double at_db, const char *parameter, figure f, const char *unit);
/* All rows of a boundary, each with `who` before it; b NULL gives them empty. */
void follow_boundary(table_writer *w, const char *who, double at_db, const boundary *b_or_null);
/* Those that hang on the level: both pitches and the hysteresis. */
void follow_pitches(table_writer *w, const char *who, double at_db, const boundary *b_or_null);
/* What a coefficient says: PARAMETER.what, the least detectable size of it, and the scatter between
 * sessions; f NULL gives them empty. `per` is the unit. */
void follow_change(table_writer *w, const char *who, double at_db, boundary_row row,
                   const char *what, const scatter_fit *f_or_null, const char *per);

#endif
