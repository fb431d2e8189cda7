/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_THRESHOLD_H
#define FIT_THRESHOLD_H

/* One observation of likelihood.h: reduced to three places at the current coefficients, then its
 * value and derivatives at each shift of the path. */

#include "base/lanes.h"
#include "fit/likelihood.h"

typedef struct reduced {
    const threshold_obs *o;
    const threshold_point *top, *end; /* of the running maximum; of the crossing, never below it */
    double z_start, z_top, z_end;     /* st, without the cluster's offset */
    double log_rate;                  /* log(span * |dz/dt|), and -gap^2 / 2 slack^2 */
    double rate_slope, gap_slope;     /* d log_rate / d rate; d log_rate / d gap */
    double log_s, inverse_s;
    double ended, lasted; /* factors of the density of an end here and of no end up to here */
} reduced;

typedef struct part {
    double value, factor;         /* the likelihood is factor * exp(value) */
    double d_start, d_top, d_end; /* d log-likelihood / d z, per st */
    double d_log_s;
    double ended; /* share of the value that comes from an end under the model */
} part;

/* The same at four shifts. */
typedef struct parts {
    fours_stored value, factor, d_start, d_top, d_end, d_log_s, ended;
} parts;

reduced threshold_reduce(const likelihood *l, const threshold_obs *o, const double *theta);
part threshold_part(const likelihood *l, const reduced *r, double shift);
/* With n fours of shifts of the path; value is 0 where there is contamination. */
void threshold_parts(const likelihood *l, const reduced *r, const fours_stored *shift, size_t n,
                     parts *out);
/* Adds weight * the gradient of one observation, its offset apart. */
void threshold_add(const likelihood *l, const reduced *r, const part *p, double *gradient);

#endif
