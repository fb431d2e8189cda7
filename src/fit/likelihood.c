/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/likelihood.h"

#include "fit/normal.h"

#include <assert.h>
#include <math.h>
#include <string.h>

enum { NODES = 129 };

size_t likelihood_b0(const likelihood *l, unsigned group)
{
    assert(group < l->groups);
    return group;
}

size_t likelihood_b(const likelihood *l, unsigned group, unsigned k)
{
    return l->groups + (l->shared ? 0 : group * l->n_x) + k;
}

size_t likelihood_log_s(const likelihood *l, unsigned group)
{
    return l->groups + (l->shared ? 1 : l->groups) * l->n_x + group;
}

size_t likelihood_offset(const likelihood *l)
{
    return 2 * l->groups + (l->shared ? 1 : l->groups) * l->n_x;
}

size_t likelihood_parameters(const likelihood *l)
{
    return likelihood_offset(l) + (l->offset ? 1 : 0);
}

size_t likelihood_nodes(size_t most, double ratio)
{
    /* Equal steps over +-4 standard deviations: the integrand is about normal with a standard
     * deviation of 1 / sqrt(1 + most * ratio^2); steps of 1.4 of that integrate it to 1e-5. */
    double half = ceil(4.0 / 1.4 * sqrt(1.0 + (double)most * ratio * ratio));
    size_t nodes = 2 * (size_t)fmax(3.0, half) + 1;
    return nodes < NODES ? nodes : NODES;
}

/* One observation at the current b: the path reduced to three points, and z at a = 0. */
typedef struct reduced {
    const threshold_obs *o;
    const threshold_point *top, *end; /* of the running maximum; of the crossing, never below it */
    double z_start, z_top, z_end;     /* st */
    double log_rate;                  /* log(span * |dz/dt|), and -gap^2 / 2 slack^2 */
    double rate_slope, gap_slope;     /* d log_rate / d rate; d log_rate / d gap */
    double inverse_s, log_s;
} reduced;

/* The value of an observation, and its derivatives. */
typedef struct part {
    double value, d_start, d_top, d_end, d_log_s;
    double ended; /* share of the value that comes from an end under the model */
} part;

static double height(const likelihood *l, const threshold_obs *o, const threshold_point *p,
                     const double *theta)
{
    double z = p->y - theta[likelihood_b0(l, o->group)];
    for (unsigned k = 0; k < l->n_x; k++)
        z -= theta[likelihood_b(l, o->group, k)] * p->x[k];
    return o->sign * z;
}

static double advance(const likelihood *l, const threshold_obs *o, const double *theta)
{
    double rate = o->rate.y;
    for (unsigned k = 0; k < l->n_x; k++)
        rate -= theta[likelihood_b(l, o->group, k)] * o->rate.x[k];
    return o->sign * rate;
}

/* The density in time is f(z) dz/dt. Measured dz/dt is noisy and may come out negative at a flip
 * in the trough of a vibrato: it is floored smoothly, r -> (r + sqrt(r^2 + 4 floor^2)) / 2. */
static void reduce_rate(const likelihood *l, const double *theta, reduced *r)
{
    r->log_rate = r->o->log_scale;
    r->rate_slope = 0;
    if (!r->o->rated)
        return;
    double rate = advance(l, r->o, theta);
    double root = hypot(rate, 2.0 * l->rate_floor);
    double smooth =
        rate >= 0 ? 0.5 * (rate + root) : 2.0 * l->rate_floor * l->rate_floor / (root - rate);
    r->log_rate += log(l->span_s * smooth);
    r->rate_slope = root > 0 ? 1.0 / root : 0;
}

/* An end below the running maximum is possible only by an error of measurement. */
static void reduce_gap(const likelihood *l, double z_crossing, reduced *r)
{
    double gap = r->z_top - z_crossing;
    r->gap_slope = 0;
    if (gap <= 0)
        return;
    r->z_end = r->z_top;
    r->end = r->top;
    if (l->slack > 0) {
        r->log_rate -= 0.5 * (gap / l->slack) * (gap / l->slack);
        r->gap_slope = -gap / (l->slack * l->slack);
    } else {
        r->log_rate = -INFINITY;
    }
}

static reduced reduce(const likelihood *l, const threshold_obs *o, const double *theta)
{
    reduced r = {.o = o, .z_top = -INFINITY, .end = &o->end};
    for (size_t i = o->first; i < o->first + o->n_points; i++) {
        double z = height(l, o, &l->points[i], theta);
        if (z > r.z_top) {
            r.z_top = z;
            r.top = &l->points[i];
        }
    }
    r.z_start = o->truncated ? height(l, o, &o->start, theta) : -INFINITY;
    r.log_s = theta[likelihood_log_s(l, o->group)];
    r.inverse_s = exp(-r.log_s);
    if (o->ended) {
        r.z_end = height(l, o, &o->end, theta);
        reduce_rate(l, theta, &r);
        reduce_gap(l, r.z_end, &r);
    }
    return r;
}

/* log(exp(a) + exp(b)) for a, b >= -INFINITY. */
static double log_sum(double a, double b)
{
    double hi = fmax(a, b), lo = fmin(a, b);
    return lo == -INFINITY ? hi : hi + log1p(exp(lo - hi));
}

/* How it ended: (1 - share) [w f + (1 - w) Q] + share / 2. */
static part part_end(const likelihood *l, const reduced *r, double shift)
{
    part p = {0};
    double w = r->o->ended ? r->o->weight : 0;
    double top = (r->z_top + shift) * r->inverse_s, end = 0;
    double f = -INFINITY, f_top = 0, f_end = 0, q = -INFINITY, q_top = 0;
    if (w > 0) {
        end = (r->z_end + shift) * r->inverse_s;
        f = normal_log_mean_density(top, end, &f_top, &f_end) - r->log_s + r->log_rate + log(w);
    }
    if (w < 1)
        q = normal_log_tail(top, &q_top) + log1p(-w);
    double model = log_sum(f, q) + log1p(-l->share);
    p.value = l->share > 0 ? log_sum(model, log(0.5 * l->share)) : model;
    if (p.value == -INFINITY)
        return p;
    double right = exp(log1p(-l->share) - p.value);
    p.ended = f > -INFINITY ? right * exp(f) : 0;
    double lasted = q > -INFINITY ? right * exp(q) : 0;
    p.d_top = (p.ended * f_top + lasted * q_top) * r->inverse_s;
    p.d_end = p.ended * f_end * r->inverse_s;
    p.d_log_s = -p.ended * (1.0 + top * f_top + end * f_end) - lasted * top * q_top;
    return p;
}

/* Given that it was not yet passed at the start: minus log[(1 - share) Q + share]. A start far
 * beyond the threshold then speaks of a wrong label, not of the threshold. */
static void part_start(const likelihood *l, const reduced *r, double shift, part *p)
{
    if (!r->o->truncated)
        return;
    double start = (r->z_start + shift) * r->inverse_s, slope;
    double q = normal_log_tail(start, &slope) + log1p(-l->share);
    double all = l->share > 0 ? log_sum(q, log(l->share)) : q;
    double right = exp(q - all) * slope;
    p->value -= all;
    p->d_start = -right * r->inverse_s;
    p->d_log_s += right * start;
}

static void add_height(const likelihood *l, const threshold_obs *o, const threshold_point *p,
                       double d, double *gradient)
{
    gradient[likelihood_b0(l, o->group)] -= o->sign * d;
    for (unsigned k = 0; k < l->n_x; k++)
        gradient[likelihood_b(l, o->group, k)] -= o->sign * d * p->x[k];
}

/* Adds the gradient of one observation, and gives d value / d shift. */
static double add_gradient(const likelihood *l, const reduced *r, const part *p, double *gradient)
{
    const threshold_obs *o = r->o;
    add_height(l, o, r->top, p->d_top, gradient);
    if (o->truncated)
        add_height(l, o, &o->start, p->d_start, gradient);
    gradient[likelihood_log_s(l, o->group)] += p->d_log_s;
    if (o->ended) {
        add_height(l, o, r->end, p->d_end, gradient);
        add_height(l, o, r->top, p->ended * r->gap_slope, gradient);
        add_height(l, o, &o->end, -p->ended * r->gap_slope, gradient);
        for (unsigned k = 0; k < l->n_x; k++)
            gradient[likelihood_b(l, o->group, k)] -=
                o->sign * p->ended * r->rate_slope * o->rate.x[k];
    }
    return p->d_top + p->d_start + p->d_end;
}

static double observation(const likelihood *l, const reduced *r, double a, double *opt_gradient,
                          double *d_a)
{
    double shift = -r->o->sign * a;
    part p = part_end(l, r, shift);
    part_start(l, r, shift, &p);
    if (opt_gradient)
        *d_a += -r->o->sign * add_gradient(l, r, &p, opt_gradient);
    return p.value;
}

static double plain(const likelihood *l, size_t i, size_t end, const double *theta,
                    double *opt_gradient)
{
    double sum = 0, unused = 0;
    for (; i < end; i++) {
        reduced r = reduce(l, &l->obs[i], theta);
        sum += observation(l, &r, 0, opt_gradient, &unused);
    }
    return sum;
}

typedef struct node {
    double log_weight, a; /* a in units of the offset's standard deviation */
    double value, gradient[LIKELIHOOD_PARAMETERS];
} node;

static void nodes_clear(const likelihood *l, node *nodes)
{
    double step = 8.0 / (double)(l->nodes - 1);
    for (size_t q = 0; q < l->nodes; q++) {
        double a = -4.0 + step * (double)q;
        memset(&nodes[q], 0, sizeof nodes[q]);
        nodes[q].a = a;
        nodes[q].log_weight = -0.5 * a * a;
    }
}

/* log of the weighted mean over the nodes; the gradient is the mean under the posterior. */
static double nodes_sum(const likelihood *l, const node *nodes, double *opt_gradient)
{
    double sum = -INFINITY, weights = 0;
    for (size_t q = 0; q < l->nodes; q++) {
        sum = log_sum(sum, nodes[q].log_weight + nodes[q].value);
        weights += exp(nodes[q].log_weight);
    }
    if (opt_gradient && sum > -INFINITY)
        for (size_t q = 0; q < l->nodes; q++) {
            double posterior = exp(nodes[q].log_weight + nodes[q].value - sum);
            for (size_t j = 0; j < likelihood_parameters(l); j++)
                opt_gradient[j] += posterior * nodes[q].gradient[j];
        }
    return sum - log(weights);
}

static double integrated(const likelihood *l, size_t i, size_t end, const double *theta,
                         double *opt_gradient)
{
    node nodes[NODES];
    size_t at = likelihood_offset(l);
    nodes_clear(l, nodes);
    for (; i < end; i++) {
        reduced r = reduce(l, &l->obs[i], theta);
        for (size_t q = 0; q < l->nodes; q++) {
            double d_a = 0;
            nodes[q].value += observation(l, &r, theta[at] * nodes[q].a,
                                          opt_gradient ? nodes[q].gradient : NULL, &d_a);
            nodes[q].gradient[at] += d_a * nodes[q].a;
        }
    }
    return nodes_sum(l, nodes, opt_gradient);
}

double likelihood_value(const likelihood *l, const double *theta, double *opt_gradient)
{
    assert(l->nodes <= NODES && likelihood_parameters(l) <= LIKELIHOOD_PARAMETERS);
    double sum = 0;
    if (opt_gradient)
        memset(opt_gradient, 0, likelihood_parameters(l) * sizeof *opt_gradient);
    for (size_t i = 0, end; i < l->n; i = end) {
        for (end = i + 1; end < l->n && l->obs[end].cluster == l->obs[i].cluster;)
            end++;
        sum += l->offset ? integrated(l, i, end, theta, opt_gradient)
                         : plain(l, i, end, theta, opt_gradient);
    }
    return sum;
}
