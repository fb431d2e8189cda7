/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_MAXIMUM_H
#define FIT_MAXIMUM_H

/* The maximum of a smooth function of up to MAXIMUM_PARAMETERS parameters, on a subspace.
 *
 * Searched are theta = base + sum_j y_j direction_j, by GSL's BFGS (Fletcher, Practical Methods
 * of Optimization, 1987, 2.6.2 and 2.6.4) from y = 0. Directions should be scaled so that a step
 * of 1 changes the value by about 1/2. */

#include <stddef.h>

enum { MAXIMUM_PARAMETERS = 12 };
typedef struct square { /* the leading n x n block counts */
    double at[MAXIMUM_PARAMETERS][MAXIMUM_PARAMETERS];
} square;

typedef struct objective {
    size_t n;
    /* Value and, unless NULL, gradient[n]; -INFINITY where impossible. */
    double (*value)(const void *data, const double *theta, double *opt_gradient);
    const void *data;
} objective;

typedef enum maximum_stop {
    MAXIMUM_FOUND = 0,       /* the gradient is as good as zero */
    MAXIMUM_NO_PROGRESS = 1, /* no higher place along the last direction: a kink, or rounding */
    MAXIMUM_TOO_MANY = 2,    /* the step limit */
    MAXIMUM_IMPOSSIBLE = 3   /* the start has no finite value */
} maximum_stop;

typedef struct maximum {
    maximum_stop stop;
    double value;
    double theta[MAXIMUM_PARAMETERS];
    int steps;
} maximum;

/* Row j of `directions` is direction_j, j < n_directions. */
maximum maximum_find(const objective *f, const double *base, size_t n_directions,
                     const square *directions);

/* Minus the second derivatives at theta, by central differences of the gradient. */
square maximum_curvature(const objective *f, const double *theta);

#endif
