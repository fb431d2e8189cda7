/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_BOUNDARY_H
#define FIT_BOUNDARY_H

/* The flip boundary over the pitch-level plane, from labelled frames of one singer's takes.
 *
 * A flip is a first passage: going up in M1, z(t) = pitch - f(level), f = pitch at at_db + slope *
 * (level - at_db), first exceeds eps ~ N(0, spread). Attempts that never flip are censored; an
 * attempt starts where the register began (left truncation). Down-flips mirror it.
 *
 * Pitches are those just before the flip, the old register's. hysteresis = up.pitch - down.pitch.
 * A leap is the pitch after less the pitch before, a slide's own motion taken off: up.leap is
 * positive where the pitch jumps up, down.leap negative where it drops. docs/boundary.md. */

#include "base/message.h"
#include "register/flip.h"

#include <stddef.h>

/* One take as labelled frames, from any source, at any frame rate. Arrays are borrowed. */
typedef struct path {
    const char *take;
    size_t n;
    const double *time_s;     /* increasing */
    const double *pitch_st;   /* NaN when unvoiced */
    const double *level_db;   /* -INFINITY in silence */
    const unsigned char *reg; /* 1, 2; 0 unvoiced or not known */
    const double *p_m2;       /* or NULL: each flip counts fully */
} path;

typedef struct figure {
    double estimate, lo95, hi95; /* all NaN when the data cannot tell */
} figure;

typedef enum boundary_row {
    BOUNDARY_UP_PITCH,
    BOUNDARY_UP_SLOPE,
    BOUNDARY_UP_SPREAD,
    BOUNDARY_DOWN_PITCH,
    BOUNDARY_DOWN_SLOPE,
    BOUNDARY_DOWN_SPREAD,
    BOUNDARY_HYSTERESIS,
    BOUNDARY_UP_LEAP,
    BOUNDARY_DOWN_LEAP,
    BOUNDARY_ROWS
} boundary_row;

typedef struct boundary boundary;
struct estimate;

typedef struct boundary_settings {
    double at_db; /* level at which pitches are stated; NaN: median level of the voiced frames */
    /* NULL, or one of more takes of the same voice (all its sessions): its slopes and spreads are
     * expected again, about, so that a session of few takes tells its pitches. Not kept. */
    const boundary *like;
    /* NULL: all takes are of one session; else of each take the number of its session, which do
     * not decrease. Sessions then shift the boundary by a scatter of their own. Not kept. */
    const size_t *opt_session;
} boundary_settings;
boundary_settings boundary_defaults(void);

/* False only when no take has a labelled frame. A boundary that cannot be told is not a failure:
 * its rows are NaN and boundary_reason() says why. */
bool boundary_fit(const path *paths, size_t n, const boundary_settings *s, boundary **out, err *e);
void boundary_free(boundary *b);

double boundary_at_db(const boundary *b);
figure boundary_figure(const boundary *b, boundary_row row);
const char *boundary_row_name(boundary_row row); /* "up.pitch", ... as the command contract */
const char *boundary_row_unit(boundary_row row); /* "st", "st/dB" */
const char *boundary_reason(const boundary *b, boundary_row row); /* NULL when the row is told */

/* Pitch of the boundary at a level, with its 95 % interval; NaN when not told. */
figure boundary_pitch_at(const boundary *b, flip_direction direction, double level_db);
/* Curvature, st/dB^2 (half the second derivative), where the boundary is more probably a parabola
 * over level than a line; else NaN. *probability_or_null: of a curve (estimate.h), NaN when too few
 * flips or levels let one be tried. All other figures are averages over both. */
figure boundary_curve(const boundary *b, double *probability_or_null);
/* How far sessions differ, st, as found; NaN for one session. */
double boundary_scatter(const boundary *b);
/* The levels at which this direction was really sung (attempts), beyond which it is not drawn;
 * false when there are none. */
bool boundary_levels(const boundary *b, flip_direction direction, double *lo_db, double *hi_db);

typedef struct boundary_flip { /* a flip as it entered the fit, for the map */
    const char *take;          /* borrowed from the path */
    flip_direction direction;
    double time_s, pitch_st, level_db, pitch_after_st, weight;
    double level_after_db; /* as pitch_after_st, NaN when the new register was too short to tell */
} boundary_flip;
size_t boundary_flips(const boundary *b, const boundary_flip **items);
/* The farthest pitch that the old register lasted to where a direction has attempts and not one
 * flip, sure or doubtful; else NaN. */
double boundary_lasted(const boundary *b, flip_direction direction);
/* What plan.h needs of it: the coefficients and how well they are known. */
const struct estimate *boundary_estimate(const boundary *b);
/* Attempts that entered, and how many of them ended without a flip. */
void boundary_attempts(const boundary *b, flip_direction direction, size_t *attempts,
                       size_t *censored);

#endif
