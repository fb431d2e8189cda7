/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/place.h"

#include "base/array.h"
#include "base/lanes.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { UNKNOWNS = 3, ROUNDS = 12 };
static const double each_s = 0.02, counts = 0.04; /* one frame in so long counts for so much */
static const double prior_mean[UNKNOWNS] = {0, 0.3, 0}, prior_sd[UNKNOWNS] = {3, 0.3, 0.1};
static const double most_odds = 6;
static const float far_odds = 80;   /* log odds: as sure as it gets */
static const double settled = 1e-3; /* of a step; the error left is about its square */

typedef struct points {      /* the frames that count */
    size_t n;                /* up to a multiple of LANES, with some that say nothing */
    float *odds;             /* 1 over the odds */
    float *p2, *v[UNKNOWNS]; /* v: what x multiplies in the log odds */
} points;

static points points_of(const evidence *ev, const double *p2, double mid)
{
    size_t step = evidence_frames(ev, each_s), k = 0;
    size_t n = ((ev->n + step - 1) / step + LANES - 1) / LANES * LANES;
    points p = {.n = n, .odds = xcalloc(n, sizeof(float)), .p2 = xcalloc(n, sizeof(float))};
    for (int a = 0; a < UNKNOWNS; a++)
        p.v[a] = xcalloc(n, sizeof(float));
    for (size_t i = 0; i < ev->n; i += step, k++) {
        p.p2[k] = (float)p2[i];
        p.v[0][k] = 1;
        p.v[1][k] = (float)(ev->pitch_st[i] - mid);
        p.v[2][k] = (float)-ev->level_db[i];
    }
    return p;
}

static void points_clear(points *p)
{
    free(p->odds);
    free(p->p2);
    for (int a = 0; a < UNKNOWNS; a++)
        free(p->v[a]);
}

typedef struct sums { /* over the frames */
    lanes g[UNKNOWNS], h[UNKNOWNS][UNKNOWNS];
} sums;

EACH_PART void add_all(const points *p, sums *to)
{
    sums out = {.g = {{0}}};
    for (size_t i = 0; i < p->n; i += LANES) {
        lanes v[UNKNOWNS], q = 1 / (1 + lanes_load(p->odds + i));
        lanes off = lanes_load(p->p2 + i) - q, curve = q * (1 - q);
        for (int a = 0; a < UNKNOWNS; a++) {
            v[a] = lanes_load(p->v[a] + i);
            out.g[a] += off * v[a];
            for (int b = 0; b <= a; b++)
                out.h[a][b] += curve * v[a] * v[b];
        }
    }
    for (int a = 0; a < UNKNOWNS; a++) {
        out.g[a] = lanes_sum(out.g[a]);
        for (int b = 0; b <= a; b++)
            out.h[a][b] = lanes_sum(out.h[a][b]);
    }
    *to = out;
}

EACH_PROCESSOR static void add_points(const points *p, sums *to)
{
    add_all(p, to);
}

/* Adds up gradient and curvature of the penalised log-likelihood at x. */
static void add_up(points *p, const double x[UNKNOWNS], double g[UNKNOWNS],
                   double h[UNKNOWNS * UNKNOWNS])
{
    sums all;
    float at = (float)x[0], pitch = (float)x[1], level = (float)x[2];
    for (size_t k = 0; k < p->n; k++) {
        float odds = at * p->v[0][k] + pitch * p->v[1][k] + level * p->v[2][k];
        p->odds[k] = odds > far_odds ? -far_odds : odds < -far_odds ? far_odds : -odds;
    }
    lanes_exp(p->odds, p->n);
    add_points(p, &all);
    for (int a = 0; a < UNKNOWNS; a++) {
        double weight = 1 / (prior_sd[a] * prior_sd[a]);
        g[a] = weight * (prior_mean[a] - x[a]) + counts * (double)all.g[a][0];
        for (int b = 0; b <= a; b++)
            h[a * UNKNOWNS + b] = h[b * UNKNOWNS + a] =
                (a == b ? weight : 0) + counts * (double)all.h[a][b][0];
    }
}

place place_fit(const evidence *ev, const double *p2, const place *opt_from)
{
    double mid = 0, g[UNKNOWNS], h[UNKNOWNS * UNKNOWNS];
    double x[UNKNOWNS] = {prior_mean[0], prior_mean[1], prior_mean[2]};
    if (opt_from) {
        x[0] = opt_from->at;
        x[1] = opt_from->pitch;
        x[2] = opt_from->level;
    }
    for (size_t i = 0; i < ev->n; i++)
        mid += ev->pitch_st[i] / (double)ev->n;
    points p = points_of(ev, p2, mid);
    double moved = 1;
    for (int round = 0; round < ROUNDS && moved > settled; round++) {
        add_up(&p, x, g, h);
        gsl_matrix_view hv = gsl_matrix_view_array(h, UNKNOWNS, UNKNOWNS);
        gsl_vector_view gv = gsl_vector_view_array(g, UNKNOWNS);
        if (gsl_linalg_HH_svx(&hv.matrix, &gv.vector))
            break;
        g[1] = fmax(g[1], -x[1]);
        moved = 0;
        for (int a = 0; a < UNKNOWNS; a++) {
            x[a] += g[a];
            moved = fmax(moved, fabs(g[a]));
        }
    }
    points_clear(&p);
    return (place){.mid = mid, .at = x[0], .pitch = x[1], .level = x[2]};
}

void place_measure(const evidence *ev, const place *p, double *log_odds)
{
    for (size_t i = 0; i < ev->n; i++) {
        double odds = p->at + p->pitch * (ev->pitch_st[i] - p->mid) - p->level * ev->level_db[i];
        log_odds[i] = odds < -most_odds ? -most_odds : odds > most_odds ? most_odds : odds;
    }
}
