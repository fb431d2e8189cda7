/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_HERMITE_H
#define FIT_HERMITE_H

/* The integral of a likelihood over a normal shift, by Gauss and Hermite's nodes put where it has
 * its weight.
 *
 * Nodes lie about the mean of the shift's posterior and as far apart as its standard deviation
 * asks; both come from the nodes themselves, tried again until they agree (Naylor & Smith 1982,
 * Applied Statistics 31:214). They are kept for the next time, since a search changes its place
 * little by little. */

#include <stdbool.h>
#include <stddef.h>

typedef struct hermite hermite;

/* Where the posterior of one shift lies; {0, 0}: not known yet. */
typedef struct hermite_place {
    double centre, sd;
} hermite_place;

/* The log-likelihood at a shift; adds its derivatives to opt_gradient, unless NULL. */
typedef double (*hermite_value)(const void *data, double shift, double *opt_gradient);

/* For up to so many parameters. Five nodes are exact for powers up to the ninth; few_nodes are
 * four, exact up to the seventh, and their places have to be nearer. */
hermite *hermite_new(size_t most_parameters, bool few_nodes);
void hermite_free(hermite *h); /* NULL allowed */

/* Log of the integral of exp(f) over N(0, sd). Adds the derivatives in f's n parameters to
 * opt_gradient and that in log sd to opt_d_log_sd, both NULL or neither. -INFINITY where f is. */
double hermite_normal(hermite *h, hermite_value f, const void *data, double sd,
                      hermite_place *place, size_t n, double *opt_gradient, double *opt_d_log_sd);

#endif
