/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/likelihood.h"

#include "base/array.h"
#include "fit/hermite.h"
#include "fit/threshold.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

size_t likelihood_b0(const likelihood *l, unsigned group)
{
    assert(group < l->groups);
    return group;
}

static size_t slopes(const likelihood *l)
{
    return l->n_x == 0 ? 0 : l->shared ? 1 : l->groups;
}

size_t likelihood_b(const likelihood *l, unsigned group, unsigned k)
{
    return l->groups + (k > 0 ? slopes(l) + k - 1 : l->shared ? 0 : group);
}

size_t likelihood_log_s(const likelihood *l, unsigned group)
{
    return l->groups + slopes(l) + (l->n_x > 1 ? l->n_x - 1 : 0) + group;
}

size_t likelihood_offset(const likelihood *l)
{
    return likelihood_log_s(l, l->groups - 1) + 1;
}

size_t likelihood_scatter(const likelihood *l)
{
    return likelihood_offset(l) + (l->offset ? 1 : 0);
}

size_t likelihood_parameters(const likelihood *l)
{
    return likelihood_scatter(l) + (l->scatter ? 1 : 0);
}

/* Equal steps over +-4 standard deviations of the offset. With m observations the integrand is
 * about normal with a standard deviation of 1 / sqrt(1 + m ratio^2) of these; the trapezoid rule
 * with steps of 1.4 of that integrates a normal to 1e-4 of its height, of 1.3 to 2e-5 (Poisson's
 * summation: 2 exp(-2 pi^2 / h^2)). Nodes come in fours, so that most steps are smaller. */
static const double REACH = 4.0, STEP = 1.3;
enum { MOST_FOURS = 64 };

typedef struct nodes {
    size_t n;             /* fours */
    fours_stored *a;      /* in units of the offset's standard deviation */
    fours_stored *weight; /* they sum to 1 */
} nodes;

struct likelihood_grid {
    double ratio;
    size_t most;           /* observations in a cluster */
    nodes *sizes;          /* [most + 1] */
    parts *parts;          /* [most][nodes]: of one cluster at all nodes */
    reduced *reduced;      /* [observations of a session, or of a cluster] */
    hermite *hermite;      /* NULL without scatter */
    hermite_place *places; /* [sessions] */
};

static nodes nodes_new(size_t m, double ratio)
{
    double least = 2 * REACH / STEP * sqrt(1.0 + (double)m * ratio * ratio), sum = 0;
    nodes out = {.n = (size_t)fmin(ceil((least + 1) / 4), MOST_FOURS)};
    out.a = xmalloc(2 * out.n, sizeof *out.a);
    out.weight = out.a + out.n;
    for (size_t q = 0; q < 4 * out.n; q++) {
        double a = REACH * (2.0 * (double)q / (double)(4 * out.n - 1) - 1.0);
        out.a[q / 4][q % 4] = a;
        out.weight[q / 4][q % 4] = exp(-0.5 * a * a);
        sum += out.weight[q / 4][q % 4];
    }
    for (size_t q = 0; q < out.n; q++)
        out.weight[q] /= sum;
    return out;
}

static size_t cluster_end(const likelihood *l, size_t i)
{
    size_t end = i + 1;
    while (l->offset && end < l->n && l->obs[end].cluster == l->obs[i].cluster)
        end++;
    return end;
}

static size_t session_end(const likelihood *l, size_t i)
{
    size_t end = i + 1;
    while (end < l->n && l->obs[end].session == l->obs[i].session)
        end++;
    return end;
}

static void grid_sessions(const likelihood *l, likelihood_grid *g)
{
    size_t sessions = 0, most = g->most;
    for (size_t i = 0, end; l->scatter && i < l->n; i = end, sessions++) {
        end = session_end(l, i);
        most = end - i > most ? end - i : most;
    }
    g->reduced = xmalloc(most, sizeof *g->reduced);
    g->hermite = l->scatter ? hermite_new(LIKELIHOOD_PARAMETERS, l->n >= LIKELIHOOD_MANY) : NULL;
    g->places = xcalloc(sessions, sizeof *g->places);
}

void likelihood_grid_new(likelihood *l, double ratio)
{
    likelihood_grid *g = xcalloc(1, sizeof *g);
    g->ratio = ratio;
    for (size_t i = 0, end; i < l->n; i = end) {
        end = cluster_end(l, i);
        g->most = end - i > g->most ? end - i : g->most;
    }
    g->sizes = xmalloc(g->most + 1, sizeof *g->sizes);
    for (size_t m = 0; m <= g->most; m++)
        g->sizes[m] = nodes_new(m, ratio);
    g->parts = xmalloc(g->most * g->sizes[g->most].n, sizeof *g->parts);
    grid_sessions(l, g);
    likelihood_grid_free(l->grid);
    l->grid = g;
}

double likelihood_grid_ratio(const likelihood *l)
{
    return l->grid->ratio;
}

void likelihood_grid_free(likelihood_grid *g)
{
    if (!g)
        return;
    for (size_t m = 0; m <= g->most; m++)
        free(g->sizes[m].a);
    free(g->sizes);
    free(g->parts);
    free(g->reduced);
    hermite_free(g->hermite);
    free(g->places);
    free(g);
}

static double sum_of(const fours *x)
{
    return ((*x)[0] + (*x)[1]) + ((*x)[2] + (*x)[3]);
}

/* Mean of an observation's derivatives under the posterior of the offset; adds to *d_t. */
EACH_PROCESSOR static part mean_part(const parts *p, const fours_stored *posterior, const nodes *at,
                                     int sign, double *d_t)
{
    fours d_start = {0}, d_top = {0}, d_end = {0}, d_log_s = {0}, ended = {0}, by_t = {0};
    for (size_t q = 0; q < at->n; q++) {
        d_start += posterior[q] * p[q].d_start;
        d_top += posterior[q] * p[q].d_top;
        d_end += posterior[q] * p[q].d_end;
        d_log_s += posterior[q] * p[q].d_log_s;
        ended += posterior[q] * p[q].ended;
        by_t += at->a[q] * posterior[q] * (p[q].d_start + p[q].d_top + p[q].d_end);
    }
    *d_t -= sign * sum_of(&by_t);
    return (part){.d_start = sum_of(&d_start),
                  .d_top = sum_of(&d_top),
                  .d_end = sum_of(&d_end),
                  .d_log_s = sum_of(&d_log_s),
                  .ended = sum_of(&ended)};
}

/* The posterior of the shift from n observations' parts, and the log of its sum. */
EACH_PROCESSOR static double posterior_of(const parts *p, size_t n, const nodes *at,
                                          fours_stored *posterior)
{
    fours sum = {0};
    for (size_t q = 0; q < at->n; q++) {
        fours all = at->weight[q];
        for (size_t i = 0; i < n; i++)
            all *= p[i * at->n + q].factor;
        posterior[q] = all;
        sum += all;
    }
    double total = sum_of(&sum);
    for (size_t q = 0; q < at->n; q++)
        posterior[q] /= total;
    return log(total);
}

/* The same of parts that are in logs, which need not be near each other. */
static double posterior_in_logs(const parts *p, size_t n, const nodes *at, fours_stored *posterior)
{
    double top = -INFINITY, sum = 0;
    for (size_t q = 0; q < 4 * at->n; q++) {
        double value = log(at->weight[q / 4][q % 4]);
        for (size_t i = 0; i < n; i++)
            value += p[i * at->n + q / 4].value[q % 4];
        posterior[q / 4][q % 4] = value;
        top = fmax(top, value);
    }
    if (top == -INFINITY)
        return top;
    for (size_t q = 0; q < 4 * at->n; q++) {
        posterior[q / 4][q % 4] = exp(posterior[q / 4][q % 4] - top);
        sum += posterior[q / 4][q % 4];
    }
    for (size_t q = 0; q < at->n; q++)
        posterior[q] /= sum;
    return top + log(sum);
}

/* One cluster with the session's shift: the observations' product at each node, summed. */
static double integrated(const likelihood *l, const threshold_obs *obs, const reduced *r, size_t n,
                         double shift, const double *theta, double *opt_gradient)
{
    const likelihood_grid *g = l->grid;
    const nodes *at = &g->sizes[n];
    fours_stored posterior[MOST_FOURS], along[MOST_FOURS];
    double t = theta[likelihood_offset(l)];
    for (size_t i = 0; i < n; i++) {
        for (size_t q = 0; q < at->n; q++)
            along[q] = -obs[i].sign * (shift + t * at->a[q]);
        threshold_parts(l, &r[i], along, at->n, &g->parts[i * at->n]);
    }
    double value = l->share > 0 ? posterior_of(g->parts, n, at, posterior)
                                : posterior_in_logs(g->parts, n, at, posterior);
    for (size_t i = 0; opt_gradient && i < n && value > -INFINITY; i++) {
        part mean = mean_part(&g->parts[i * at->n], posterior, at, obs[i].sign,
                              &opt_gradient[likelihood_offset(l)]);
        threshold_add(l, &r[i], &mean, opt_gradient);
    }
    return value;
}

static double plain(const likelihood *l, const threshold_obs *o, const reduced *r, double shift,
                    double *opt_gradient)
{
    part p = threshold_part(l, r, -o->sign * shift);
    if (opt_gradient)
        threshold_add(l, r, &p, opt_gradient);
    return p.value + log(p.factor);
}

/* Observations first .. end - 1 when their session is shifted; r: theirs, reduced. */
typedef struct stretch {
    const likelihood *l;
    size_t first, end;
    const reduced *reduced;
    const double *theta;
} stretch;

/* Adds to the gradient. */
static double shifted(const void *a_stretch, double shift, double *opt_gradient)
{
    const stretch *s = a_stretch;
    const likelihood *l = s->l;
    double sum = 0;
    for (size_t i = s->first, end; i < s->end; i = end) {
        const reduced *r = &s->reduced[i - s->first];
        end = cluster_end(l, i);
        sum += l->offset ? integrated(l, &l->obs[i], r, end - i, shift, s->theta, opt_gradient)
                         : plain(l, &l->obs[i], r, shift, opt_gradient);
    }
    return sum;
}

static double mean_b0(const likelihood *l, const double *theta)
{
    double sum = 0;
    for (unsigned g = 0; g < l->groups; g++)
        sum += theta[likelihood_b0(l, g)] / l->groups;
    return sum;
}

/* Where the weight of a session's shift lies is kept as a pitch, which stays when b0 moves. */
static double scattered(const likelihood *l, const stretch *s, size_t session, double *opt_gradient)
{
    size_t at = likelihood_scatter(l);
    hermite_place *place = &l->grid->places[session];
    double b0 = mean_b0(l, s->theta);
    place->centre -= b0;
    double value = hermite_normal(l->grid->hermite, shifted, s, exp(s->theta[at]), place,
                                  likelihood_parameters(l), opt_gradient,
                                  opt_gradient ? &opt_gradient[at] : NULL);
    place->centre += b0;
    return value;
}

double likelihood_value(const likelihood *l, const double *theta, double *opt_gradient)
{
    assert(likelihood_parameters(l) <= LIKELIHOOD_PARAMETERS &&
           (l->grid || !(l->offset || l->scatter)));
    double sum = 0;
    size_t session = 0;
    reduced one = {.o = NULL}, *r = l->grid ? l->grid->reduced : &one;
    if (opt_gradient)
        memset(opt_gradient, 0, likelihood_parameters(l) * sizeof *opt_gradient);
    for (size_t i = 0, end; i < l->n; i = end, session++) {
        end = l->scatter ? session_end(l, i) : cluster_end(l, i);
        for (size_t k = i; k < end; k++)
            r[k - i] = threshold_reduce(l, &l->obs[k], theta);
        stretch s = {l, i, end, r, theta};
        sum += l->scatter ? scattered(l, &s, session, opt_gradient) : shifted(&s, 0, opt_gradient);
    }
    return sum;
}
