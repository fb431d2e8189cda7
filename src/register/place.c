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
static const double far_odds = 80;  /* log odds: as sure as it gets */
static const double settled = 1e-3; /* of a step; the error left is about its square */

typedef struct points {       /* the frames that count */
    size_t n;                 /* up to a multiple of 4, with some that say nothing */
    float *odds;              /* 1 over the odds */
    double *p2, *v[UNKNOWNS]; /* v: what x multiplies in the log odds */
} points;

static points points_of(const evidence *ev, const double *p2, double mid)
{
    size_t step = evidence_frames(ev, each_s), n = ((ev->n + step - 1) / step + 3) / 4 * 4, k = 0;
    points p = {.n = n, .odds = xmalloc(n, sizeof *p.odds), .p2 = array_filled(n, 0)};
    for (int a = 0; a < UNKNOWNS; a++)
        p.v[a] = array_filled(n, 0);
    for (size_t i = 0; i < ev->n; i += step, k++) {
        p.p2[k] = p2[i];
        p.v[0][k] = 1;
        p.v[1][k] = ev->pitch_st[i] - mid;
        p.v[2][k] = -ev->level_db[i];
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
    fours g[UNKNOWNS], h[UNKNOWNS][UNKNOWNS];
} sums;

EACH_PROCESSOR static void add_points(const points *p, sums *to)
{
    sums out = {.g = {{0}}};
    for (size_t i = 0; i < p->n; i += 4) {
        fours v[UNKNOWNS], p2, q;
        double odds[4];
        for (size_t k = 0; k < 4; k++)
            odds[k] = (double)p->odds[i + k];
        memcpy(&q, odds, sizeof q);
        memcpy(&p2, p->p2 + i, sizeof p2);
        q = 1 / (1 + q);
        for (int a = 0; a < UNKNOWNS; a++) {
            memcpy(&v[a], p->v[a] + i, sizeof v[a]);
            out.g[a] += (p2 - q) * v[a];
            for (int b = 0; b <= a; b++)
                out.h[a][b] += q * (1 - q) * v[a] * v[b];
        }
    }
    *to = out;
}

static double sum_of(const fours *x)
{
    return ((*x)[0] + (*x)[1]) + ((*x)[2] + (*x)[3]);
}

/* Adds up gradient and curvature of the penalised log-likelihood at x. */
static void add_up(points *p, const double x[UNKNOWNS], double g[UNKNOWNS],
                   double h[UNKNOWNS * UNKNOWNS])
{
    sums all;
    for (size_t k = 0; k < p->n; k++) {
        double odds = x[0] * p->v[0][k] + x[1] * p->v[1][k] + x[2] * p->v[2][k];
        p->odds[k] = (float)(odds > far_odds ? -far_odds : odds < -far_odds ? far_odds : -odds);
    }
    lanes_exp(p->odds, p->n);
    add_points(p, &all);
    for (int a = 0; a < UNKNOWNS; a++) {
        double weight = 1 / (prior_sd[a] * prior_sd[a]);
        g[a] = weight * (prior_mean[a] - x[a]) + counts * sum_of(&all.g[a]);
        for (int b = 0; b <= a; b++)
            h[a * UNKNOWNS + b] = h[b * UNKNOWNS + a] =
                (a == b ? weight : 0) + counts * sum_of(&all.h[a][b]);
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
