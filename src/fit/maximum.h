/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_MAXIMUM_H
#define FIT_MAXIMUM_H

/* The maximum of a smooth function of up to MAXIMUM_PARAMETERS parameters, on a subspace.
 *
 * Searched are theta = base + sum_j y_j direction_j from y = 0, by BFGS with a line search that
 * asks for Wolfe's weak conditions alone, which goes on over kinks such as those of a running
 * maximum (Lewis & Overton, Mathematical Programming 141, 2013; GSL's minimisers stop at them).
 * Directions should be scaled so that a step of 1 changes the value by about 1/2.
 */

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
    double scale[MAXIMUM_PARAMETERS]; /* rough standard error of each parameter */
} objective;

typedef enum maximum_stop {
    MAXIMUM_FOUND = 0,     /* the gradient is as good as zero */
    MAXIMUM_AT_KINK = 1,   /* the simplex shrank to a point whose gradient is not zero */
    MAXIMUM_TOO_MANY = 2,  /* the step limit */
    MAXIMUM_IMPOSSIBLE = 3 /* the start has no finite value */
} maximum_stop;

typedef struct maximum {
    maximum_stop stop;
    double value;
    double theta[MAXIMUM_PARAMETERS];
    int steps;
} maximum;

/* Row j of `directions` is direction_j, j < n_directions (0: theta = base). Ends when another step
 * promises a rise below flat^2 / 2. */
maximum maximum_find(const objective *f, const double *base, size_t n_directions,
                     const square *directions, double flat);

/* Minus the second derivatives in the first n parameters at theta, by central differences of the
 * gradient over a tenth of the scale: wide enough to average over the kinks of a maximum of paths.
 */
square maximum_curvature(const objective *f, const double *theta, size_t n);

#endif
