/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/prior.h"

#include <math.h>

prior prior_defaults(void)
{
    return (prior){.pitch_st = 60,
                   .pitch_sd_st = 12,
                   .slope = 0.2,
                   .slope_sd = 0.4,
                   .slope_apart = 0.1,
                   .spread_st = {0.6, 0.6},
                   .spread_sd = 0.8,
                   .offset_sd_st = 0.7,
                   .curve_sd = 0.01,
                   .scatter_st = 0.5,
                   .scatter_sd = 0.8,
                   .spent_more = 0.2};
}

void prior_count(prior *p, const likelihood *l)
{
    double ends[LIKELIHOOD_GROUPS] = {0}, takes[LIKELIHOOD_GROUPS] = {0};
    size_t last[LIKELIHOOD_GROUPS] = {(size_t)-1, (size_t)-1}, sessions = 0, session = (size_t)-1;
    for (size_t i = 0; i < l->n; i++) {
        const threshold_obs *o = &l->obs[i];
        if (!o->ended)
            continue;
        ends[o->group] += o->weight;
        takes[o->group] += last[o->group] != o->cluster;
        last[o->group] = o->cluster;
        sessions += session != o->session;
        session = o->session;
    }
    double all = ends[0] + ends[1];
    p->per_session = sessions ? all / (double)sessions : 1.0;
    for (unsigned g = 0; g < l->groups; g++) {
        double share = all > 0 ? ends[g] / all : 1.0;
        p->spent[g] = p->spent_more + 1.0 + (p->slopes_known ? 0 : l->n_x * share);
        p->per_take[g] = takes[g] > 0 ? ends[g] / takes[g] : 1.0;
    }
}

static double normal(double x, double mean, double sd, double *opt_gradient)
{
    double u = (x - mean) / sd;
    if (opt_gradient)
        *opt_gradient -= u / sd;
    return -0.5 * u * u;
}

/* p/2 log(s^2 + m offset^2), s alone without an offset; where sessions scatter, so much of p as is
 * this group's part of the common pitch has M scatter^2 more in the logarithm. */
static double spent(const prior *p, const likelihood *l, unsigned g, const double *theta,
                    double *opt_gradient)
{
    size_t at = likelihood_log_s(l, g), at_t = likelihood_offset(l), at_v = likelihood_scatter(l);
    double s = exp(theta[at]), t = l->offset ? theta[at_t] : 0;
    double v = l->scatter ? exp(theta[at_v]) : 0;
    double within = s * s + p->per_take[g] * t * t, all = within + p->per_session * v * v;
    double common = l->scatter ? fmin(1.0 / l->groups, p->spent[g]) : 0;
    double each = (p->spent[g] - common) / within + common / all;
    if (opt_gradient) {
        opt_gradient[at] += each * s * s;
        if (l->offset)
            opt_gradient[at_t] += each * p->per_take[g] * t;
        if (l->scatter)
            opt_gradient[at_v] += common * p->per_session * v * v / all;
    }
    return 0.5 * ((p->spent[g] - common) * log(within) + common * log(all));
}

/* Cauchy's density of the difference of two coefficients, b expected to be `less` than a. */
static double apart(const double *theta, size_t a, size_t b, double less, double scale,
                    double *opt_gradient)
{
    double u = (theta[b] - theta[a] + less) / scale, slope = 2 * u / (1 + u * u) / scale;
    if (opt_gradient) {
        opt_gradient[b] -= slope;
        opt_gradient[a] += slope;
    }
    return -log1p(u * u);
}

double penalised_value(const void *a_penalised, const double *theta, double *opt_gradient)
{
    const penalised *both = a_penalised;
    const likelihood *l = both->likelihood;
    const prior *p = both->prior;
    double sum = likelihood_value(l, theta, opt_gradient), *g = opt_gradient;
    for (unsigned group = 0; group < l->groups; group++) {
        size_t b0 = likelihood_b0(l, group), s = likelihood_log_s(l, group);
        sum += normal(theta[b0], p->pitch_st, p->pitch_sd_st, g ? &g[b0] : NULL);
        sum += normal(theta[s], log(p->spread_st[group]), p->spread_sd, g ? &g[s] : NULL);
        sum += spent(p, l, group, theta, g);
    }
    for (unsigned k = 0; k < l->n_x; k++) {
        size_t b = likelihood_b(l, 0, k);
        sum += normal(theta[b], k ? p->curve : p->slope, k ? p->curve_sd : p->slope_sd,
                      g ? &g[b] : NULL);
        if (k == 0 && l->groups == 2 && !l->shared)
            sum += apart(theta, b, likelihood_b(l, 1, 0), p->slope_less, p->slope_apart, g);
    }
    if (l->offset) {
        size_t t = likelihood_offset(l);
        sum += normal(theta[t], 0, p->offset_sd_st, g ? &g[t] : NULL);
    }
    if (l->scatter) {
        size_t v = likelihood_scatter(l);
        sum += normal(theta[v], log(p->scatter_st), p->scatter_sd, g ? &g[v] : NULL);
    }
    return sum;
}
