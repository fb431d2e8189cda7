/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef FIT_LIKELIHOOD_H
#define FIT_LIKELIHOOD_H

/* Log-likelihood, with its gradient, of thresholds that a path passes for the first time.
 *
 * Each observation has a path z(t) = sign * [y(t) - a - b0 - b . x(t)] and a threshold
 * eps ~ N(0, s); it ends when z first exceeds eps. With m the running maximum of z,
 *   ended in (A, C]: [F(C) - F(A)] / [1 - F(z_start)],  not ended: [1 - F(A)] / [1 - F(z_start)],
 * F the distribution of eps (Kalbfleisch & Prentice, The Statistical Analysis of Failure Time
 * Data, ch. 3: censoring and truncation). Sign -1 mirrors it: a fall below a threshold, or
 * left-censored data. a is the sum of a shift of the cluster, N(0, offset), and one of its session,
 * N(0, scatter), both integrated out. A share of the observations is taken to end where it will
 * (contamination). With one point an observation, no truncation, share 0 and no shifts this is
 * censored normal regression. docs/boundary.md has the equations. */

#include <stdbool.h>
#include <stddef.h>

enum { LIKELIHOOD_X = 2, LIKELIHOOD_GROUPS = 2, LIKELIHOOD_PARAMETERS = 9 };

typedef struct threshold_point {
    double y; /* pitch, st */
    double
        x[LIKELIHOOD_X]; /* level minus a centre, dB; the second as the caller likes: its square */
} threshold_point;

typedef struct threshold_obs {
    unsigned group;   /* which b0, s (and slope, where they are separate): 0 or 1 */
    size_t cluster;   /* take; observations are ordered by it */
    size_t session;   /* of the take; those of a session lie together */
    int sign;         /* +1 or -1 */
    bool truncated;   /* `start` counts */
    bool ended;       /* false: right-censored */
    bool rated;       /* the end is a density in time: `rate` counts */
    double weight;    /* 0..1, probability that the end is real */
    double log_scale; /* added to the log density of an end: log(width) makes it a probability */
    size_t first, n_points;     /* where the running maximum may lie, in likelihood.points; > 0 */
    threshold_point start, end; /* of the path; end as if the path had gone on */
    threshold_point rate;       /* change of y and x per second where it ended */
} threshold_obs;

typedef struct likelihood_grid likelihood_grid;

typedef struct likelihood {
    size_t n;
    threshold_obs *obs;
    threshold_point *points;
    unsigned groups, n_x; /* 1..2 groups; 0..2 covariates */
    bool shared;          /* one slope for both groups; the second coefficient always is */
    bool offset;          /* clusters have a random offset: wants likelihood_grid_new first */
    bool scatter;         /* sessions have one too: wants likelihood_grid_new */
    double share;         /* contamination, 0..1 */
    double span_s;        /* time in which one end is expected, for `rated`; s */
    double rate_floor;    /* of |dz/dt| at an end, st/s; 0: exact */
    double slack;         /* standard error of z at an end, st; 0: none below the maximum allowed */
    likelihood_grid *grid; /* of the integrals over the shifts; it keeps where they have weight */
} likelihood;

/* Where each parameter lies in theta: b0[groups], then the slope (shared) or that of each group,
 * the second coefficient, log s[groups], t with offset = |t|, log scatter. */
size_t likelihood_parameters(const likelihood *l);
size_t likelihood_b0(const likelihood *l, unsigned group);
size_t likelihood_b(const likelihood *l, unsigned group, unsigned k);
size_t likelihood_log_s(const likelihood *l, unsigned group);
size_t likelihood_offset(const likelihood *l);  /* only where l->offset */
size_t likelihood_scatter(const likelihood *l); /* only where l->scatter */

/* Observations from which on time counts: the search starts from a part of them, and integrals are
 * taken with fewer nodes. */
enum { LIKELIHOOD_MANY = 150 };

/* Makes l->grid (frees an earlier one): for each size of cluster the nodes that integrate to 2e-5
 * while the offset is up to `ratio` times the spread, and room for every session. */
void likelihood_grid_new(likelihood *l, double ratio);
double likelihood_grid_ratio(const likelihood *l);
void likelihood_grid_free(likelihood_grid *g);

/* opt_gradient[likelihood_parameters] may be NULL. -INFINITY where the data are impossible.
 * n = 0 gives 0. */
double likelihood_value(const likelihood *l, const double *theta, double *opt_gradient);

#endif
