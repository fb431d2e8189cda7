/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_ESTIMATE_H
#define FIT_ESTIMATE_H

/* The boundary's coefficients from attempts: which directions can be fitted, from where the
 * search starts, one slope or two.
 *
 * A direction is fitted when it has at least one flip more likely than not; attempts of the other
 * are left out. Up and down share the slope unless each has two flips or more over 4 dB or more;
 * then there are two slopes, which a prior holds together until the data part them (prior.h).
 * Takes have a random offset when at least two of them flipped twice, and sessions one of their own
 * when at least two of them have a flip.
 *
 * Straight or curved: a parabola, of one curvature for up and down, is fitted too from 9 flips
 * over 8 dB on. Before the takes both are taken to be as likely; after them the odds are those of
 * Savage and Dickey: the curvature's density at 0 under the prior over that under the posterior
 * (Dickey 1971, Annals of Mathematical Statistics 42:204), Student's t about the estimate. What the
 * likelier one tells is averaged with the other (average.h). */

#include "fit/attempts.h"
#include "fit/interval.h"
#include "fit/prior.h"

typedef struct estimate_settings {
    double share;              /* 0.03: attempts that end for no reason of the boundary's */
    double rate_floor;         /* 0.1 st/s: below it a measured speed of approach is noise */
    double slack_st;           /* 0.25: standard error of pitch against boundary at a flip */
    const size_t *opt_session; /* [takes], not decreasing; NULL: all of one session */
} estimate_settings;
estimate_settings estimate_defaults(void);

typedef struct estimate {
    bool fitted[2];                        /* by flip_direction */
    unsigned group[2];                     /* where fitted */
    double flips[2];                       /* sum of weights */
    double level_lo_db[2], level_hi_db[2]; /* of flips with weight >= 0.5; NaN when none */
    likelihood likelihood;
    prior prior;
    penalised penalised;
    double
        *real;  /* [attempts] probability that a flip is the boundary's and no wrong one; else 1 */
    fitted fit; /* fit.settled false: nothing can be told */
    double curved;          /* probability that it is; NaN: no curve was tried */
    struct estimate *other; /* the less likely of both; NULL: none, or less likely than 1 % */
} estimate;

/* pitch_st: median sung pitch. Levels enter as level - at_db. like: NULL, or the settled estimate
 * of more takes of the same voice, whose slopes and spreads are expected again, within 0.05 st/dB
 * and three tenths; a direction that it has not is not fitted. Free with estimate_free. */
estimate *estimate_new(const attempts *a, double at_db, double pitch_st, const estimate *opt_like,
                       const estimate_settings *s);
void estimate_free(estimate *e); /* NULL allowed */

/* The coefficients that make up the boundary's pitch at a level: contrast'theta, and that pitch; by
 * other parameters than the best. */
void estimate_contrast(const estimate *e, flip_direction d, double level_less_at_db,
                       double contrast[MAXIMUM_PARAMETERS]);
double estimate_pitch(const estimate *e, flip_direction d, double level_less_at_db);
double estimate_pitch_by(const estimate *e, const double *theta, flip_direction d,
                         double level_less_at_db);

#endif
