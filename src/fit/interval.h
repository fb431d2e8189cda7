/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_INTERVAL_H
#define FIT_INTERVAL_H

/* A maximum with its covariance, and 95 % intervals from the profile that hold with few flips.
 *
 * The interval of a contrast c'theta is where twice the fall of the profile stays below
 * nu log(1 + t^2 / nu), t the 97.5 % point of Student's t with nu degrees of freedom: exact in
 * normal regression, where the plain chi-squared cut is too narrow. nu is Satterthwaite's (1946):
 * 2 Var / Var-of-Var, from how much the contrast's variance hangs on the spreads and on how well
 * these are known. docs/boundary.md has the coverage. */

#include "fit/likelihood.h"
#include "fit/maximum.h"

enum { INTERVAL_SPREADS = 4 };

typedef struct fitted {
    objective f;
    size_t n_means; /* the first parameters; the others, at most INTERVAL_SPREADS, are spreads */
    /* of the spreads' part of the curvature, what is a prior's that is wider than voices differ:
     * 1 / its variance, 0 where there is none */
    double prior_precision;
    maximum top;
    bool settled; /* the curvature is positive in every direction */
    square covariance;
    square root;                       /* its Cholesky factor, lower */
    square means[INTERVAL_SPREADS][2]; /* covariance of the means with a spread a little lower and
                                          higher, held there */
} fitted;

/* The curvature at a maximum and what follows from it; f, n_means and top are given. */
void fitted_settle(fitted *f);
double fitted_variance(const fitted *f, const double *contrast);

/* How far twice the fall of the profile may reach below and above the estimate. */
typedef struct cuts {
    double below, above;
} cuts;

/* Degrees of freedom of a contrast of the means; 1.54 at the least, what is known beforehand. */
double interval_freedom(const fitted *f, const double *contrast);
/* Of a mean, nu > 0; and of the log of a spread, the parameter at `at`. */
cuts interval_cuts(double nu);
cuts interval_cuts_spread(const fitted *f, size_t at);
/* The median of what an interval of these cuts says, from the likeliest and the interval's ends:
 * where the root of the fall is half of what it may reach more above than below. */
double interval_median(double likeliest, double lo, double hi, cuts cut);

/* The ends of the interval of contrast'theta; false when an end was not reached. */
bool interval_profile(const fitted *f, const double *contrast, cuts cut, double *lo, double *hi);

#endif
