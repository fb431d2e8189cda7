/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/simbound.h"

#include "base/array.h"
#include "fit/attempts.h"
#include "fit/likelihood.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_blas.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>

enum { REPEATS = 20, MOST_ATTEMPTS = 64, PARAMETERS = SIMBOUND_PARAMETERS };
/* Coarser frames than the fit's lose nothing here: 0.05 st of a slide. */
static const double STEP_S = 0.025;

/* up, down; slopes; log spreads; offset. */
enum { UP, DOWN, UP_SLOPE = SIMBOUND_UP_SLOPE, DOWN_SLOPE, UP_SPREAD, DOWN_SPREAD, OFFSET };

static threshold_point point_of(level_pitch p, double at_db)
{
    return (threshold_point){p.pitch_st, {p.level_db - at_db, 0}};
}

static void truth_of(const simsinger *s, double at_db, double theta[PARAMETERS])
{
    theta[UP] = simpath_boundary(s, FLIP_UP, at_db);
    theta[DOWN] = simpath_boundary(s, FLIP_DOWN, at_db);
    theta[UP_SLOPE] = s->up_slope;
    theta[DOWN_SLOPE] = s->down_slope;
    theta[UP_SPREAD] = log(s->up_spread);
    theta[DOWN_SPREAD] = log(s->down_spread);
    theta[OFFSET] = s->offset_st;
}

/* The score of one take at the truth. */
static void score_of(const path *p, double at_db, const double *theta, double score[PARAMETERS])
{
    attempts a = {0};
    attempt_settings how = attempt_defaults();
    threshold_obs obs[MOST_ATTEMPTS];
    attempts_append(&a, p, 0, &how);
    likelihood l = {.obs = obs,
                    .points = xmalloc(a.n_hull, sizeof *l.points),
                    .groups = 2,
                    .n_x = 1,
                    .offset = true,
                    .span_s = 1,
                    .rate_floor = 0.1,
                    .slack = 0.25};
    for (size_t i = 0; i < a.n_hull; i++)
        l.points[i] = point_of(a.hull[i], at_db);
    for (size_t i = 0; i < a.n && l.n < MOST_ATTEMPTS; i++) {
        const attempt *t = &a.items[i];
        obs[l.n++] = (threshold_obs){.group = t->direction == FLIP_UP ? 0 : 1,
                                     .sign = t->direction == FLIP_UP ? 1 : -1,
                                     .truncated = true,
                                     .ended = t->flipped,
                                     .rated = true,
                                     .weight = 1,
                                     .first = t->first,
                                     .n_points = t->n_hull,
                                     .start = point_of(t->start, at_db),
                                     .end = point_of(t->crossing, at_db),
                                     .rate = {t->rate.pitch_st, {t->rate.level_db, 0}}};
    }
    likelihood_grid_new(&l, 2.5);
    likelihood_value(&l, theta, score);
    likelihood_grid_free(l.grid);
    free(l.points);
    attempts_clear(&a);
}

void simbound_information(const simsinger *s, simtake take, double at_db, size_t times, gsl_rng *r,
                          gsl_matrix *information)
{
    double theta[PARAMETERS], score[PARAMETERS];
    truth_of(s, at_db, theta);
    take.step_s = STEP_S;
    for (size_t k = 0; k < times; k++) {
        path p = simpath_new(s, &take, "take", r);
        memset(score, 0, sizeof score);
        score_of(&p, at_db, theta, score);
        gsl_vector_view v = gsl_vector_view_array(score, PARAMETERS);
        gsl_blas_dsyr(CblasLower, 1.0 / (double)times, &v.vector, information);
        simpath_free(&p);
    }
}

bool simbound_add(const simsinger *s, const simtake *takes, size_t n, double at_db, gsl_rng *r,
                  double variance[BOUNDARY_ROWS])
{
    gsl_matrix *m = gsl_matrix_calloc(PARAMETERS, PARAMETERS);
    for (size_t i = 0; i < n; i++)
        simbound_information(s, takes[i], at_db, REPEATS, r, m);
    gsl_error_handler_t *handler = gsl_set_error_handler_off();
    bool told = gsl_linalg_cholesky_decomp1(m) == GSL_SUCCESS;
    gsl_set_error_handler(handler);
    if (told) {
        /* The inverse of a mean of N outer products is large by N / (N - p - 1) (Wishart 1928). */
        double scores = (double)(n * REPEATS);
        gsl_linalg_cholesky_invert(m);
        gsl_matrix_scale(m, (scores - PARAMETERS - 1) / scores);
        variance[BOUNDARY_UP_PITCH] += gsl_matrix_get(m, UP, UP);
        variance[BOUNDARY_DOWN_PITCH] += gsl_matrix_get(m, DOWN, DOWN);
        variance[BOUNDARY_UP_SLOPE] += gsl_matrix_get(m, UP_SLOPE, UP_SLOPE);
        variance[BOUNDARY_DOWN_SLOPE] += gsl_matrix_get(m, DOWN_SLOPE, DOWN_SLOPE);
        variance[BOUNDARY_UP_SPREAD] +=
            pow(s->up_spread, 2) * gsl_matrix_get(m, UP_SPREAD, UP_SPREAD);
        variance[BOUNDARY_DOWN_SPREAD] +=
            pow(s->down_spread, 2) * gsl_matrix_get(m, DOWN_SPREAD, DOWN_SPREAD);
        variance[BOUNDARY_HYSTERESIS] += gsl_matrix_get(m, UP, UP) + gsl_matrix_get(m, DOWN, DOWN) -
                                         2 * gsl_matrix_get(m, UP, DOWN);
    }
    gsl_matrix_free(m);
    return told;
}
