/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/place.h"

#include <gsl/gsl_linalg.h>
#include <math.h>

enum { UNKNOWNS = 3, ROUNDS = 12 };
static const double each_s = 0.02, counts = 0.04; /* one frame in so long counts for so much */
static const double prior_mean[UNKNOWNS] = {0, 0.3, 0}, prior_sd[UNKNOWNS] = {3, 0.3, 0.1};
static const double most_odds = 6;
static const double settled = 1e-7;

/* Adds up gradient and curvature of the penalised log-likelihood at x. */
static void add_up(const evidence *ev, const double *p2, double mid, const double x[UNKNOWNS],
                   double g[UNKNOWNS], double h[UNKNOWNS * UNKNOWNS])
{
    for (int a = 0; a < UNKNOWNS; a++) {
        double weight = 1 / (prior_sd[a] * prior_sd[a]);
        g[a] = weight * (prior_mean[a] - x[a]);
        for (int b = 0; b < UNKNOWNS; b++)
            h[a * UNKNOWNS + b] = a == b ? weight : 0;
    }
    for (size_t i = 0; i < ev->n; i += evidence_frames(ev, each_s)) {
        double v[UNKNOWNS] = {1, ev->pitch_st[i] - mid, -ev->level_db[i]};
        double q = 1 / (1 + exp(-(x[0] + x[1] * v[1] + x[2] * v[2])));
        for (int a = 0; a < UNKNOWNS; a++) {
            g[a] += counts * (p2[i] - q) * v[a];
            for (int b = 0; b < UNKNOWNS; b++)
                h[a * UNKNOWNS + b] += counts * q * (1 - q) * v[a] * v[b];
        }
    }
}

place place_fit(const evidence *ev, const double *p2)
{
    double mid = 0, x[UNKNOWNS] = {0, prior_mean[1], 0}, g[UNKNOWNS], h[UNKNOWNS * UNKNOWNS];
    for (size_t i = 0; i < ev->n; i++)
        mid += ev->pitch_st[i] / (double)ev->n;
    double moved = 1;
    for (int round = 0; round < ROUNDS && moved > settled; round++) {
        add_up(ev, p2, mid, x, g, h);
        gsl_matrix_view hv = gsl_matrix_view_array(h, UNKNOWNS, UNKNOWNS);
        gsl_vector_view gv = gsl_vector_view_array(g, UNKNOWNS);
        if (gsl_linalg_HH_svx(&hv.matrix, &gv.vector))
            break;
        moved = 0;
        for (int a = 0; a < UNKNOWNS; a++) {
            x[a] += g[a];
            moved = fmax(moved, fabs(g[a]));
        }
        x[1] = fmax(0, x[1]);
    }
    return (place){.mid = mid, .at = x[0], .pitch = x[1], .level = x[2]};
}

void place_measure(const evidence *ev, const place *p, double *log_odds)
{
    for (size_t i = 0; i < ev->n; i++) {
        double odds = p->at + p->pitch * (ev->pitch_st[i] - p->mid) - p->level * ev->level_db[i];
        log_odds[i] = fmax(-most_odds, fmin(odds, most_odds));
    }
}
