/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_COURSE_H
#define FIT_COURSE_H

/* The course of a boundary over sessions, and whether it moved.
 *
 * Each session's boundary is fitted by itself at one level; of four sessions or more the slopes and
 * spreads of all are expected again in each, boundary_settings.like. What sessions are compared by
 * is scatter.h: one boundary against two would call half of all unchanged pairs of sessions shifted
 * where sessions scatter by 0.7 st. */

#include "fit/scatter.h"

/* Assumed between sessions of one singer, st, where there are too few to tell: group spreads of
 * +-1 st from session to session are published for speech (Brown et al. 1996), less for one voice
 * in song is a guess. */
#define COURSE_SCATTER_ST 0.7

typedef struct course_session {
    size_t first, n; /* its takes, in the paths given */
    double day;      /* any origin */
} course_session;

typedef struct course {
    size_t n; /* sessions */
    double at_db;
    double *month;                 /* [n], since the first day; 365.25 / 12 days each */
    figure (*rows)[BOUNDARY_ROWS]; /* [n] */
    boundary *whole;               /* of all sessions as one */
    boundary **sessions;           /* [n]; NULL where a session has no labelled frame */
} course;

/* at_db NaN: the median level of all. Sessions whose takes tell nothing have NaN rows. False when
 * no take has a label. Free with course_clear. */
bool course_fit(const path *paths, size_t n_paths, const course_session *sessions, size_t n,
                double at_db, course *out, err *e);
void course_clear(course *c);

/* A row's values for scatter_regress, with x = 1 and x1[i] (NULL: 1 alone); the caller frees. */
scatter_point *course_points(const course *c, boundary_row row, const double *opt_x1);

/* The change of a row a month, and from one session's value to another's; false when fewer than
 * two sessions on two days tell it. */
bool course_trend(const course *c, boundary_row row, double assumed, scatter_fit *out);
/* From the mean of the sessions before `from` to that of those from there on, coefficient 1. */
bool course_shift(const course *c, boundary_row row, size_t from, double assumed, scatter_fit *out);

#endif
