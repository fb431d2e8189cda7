/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/threshold.h"

#include "fit/normal.h"
#include "fit/normal_fours.h"

#include <math.h>

/* The coefficients of one group. */
typedef struct coefficients {
    double b0, b[LIKELIHOOD_X];
} coefficients;

static inline coefficients coefficients_of(const likelihood *l, unsigned group, const double *theta)
{
    coefficients c = {.b0 = theta[likelihood_b0(l, group)]};
    for (unsigned k = 0; k < l->n_x; k++)
        c.b[k] = theta[likelihood_b(l, group, k)];
    return c;
}

/* z of a point. */
static inline double height(const threshold_point *p, int sign, const coefficients *c, unsigned n_x)
{
    double z = p->y - c->b0;
    for (unsigned k = 0; k < n_x; k++)
        z -= c->b[k] * p->x[k];
    return sign * z;
}

/* The density in time is f(z) dz/dt. Measured dz/dt is noisy and may come out negative at a flip
 * in the trough of a vibrato: it is floored smoothly, r -> (r + sqrt(r^2 + 4 floor^2)) / 2. */
static void reduce_rate(const likelihood *l, const coefficients *c, reduced *r)
{
    const threshold_obs *o = r->o;
    r->log_rate = o->log_scale;
    if (!o->rated)
        return;
    double rate = o->rate.y;
    for (unsigned k = 0; k < l->n_x; k++)
        rate -= c->b[k] * o->rate.x[k];
    rate *= o->sign;
    double root = hypot(rate, 2.0 * l->rate_floor);
    double smooth =
        rate >= 0 ? 0.5 * (rate + root) : 2.0 * l->rate_floor * l->rate_floor / (root - rate);
    r->log_rate += log(l->span_s * smooth);
    r->rate_slope = root > 0 ? 1.0 / root : 0;
}

/* An end below the running maximum is possible only by an error of measurement. */
static void reduce_gap(const likelihood *l, reduced *r)
{
    double gap = r->z_top - r->z_end;
    if (gap <= 0)
        return;
    r->z_end = r->z_top;
    r->end = r->top;
    r->gap_slope = l->slack > 0 ? -gap / (l->slack * l->slack) : 0;
    r->log_rate = l->slack > 0 ? r->log_rate + 0.5 * gap * r->gap_slope : -INFINITY;
}

reduced threshold_reduce(const likelihood *l, const threshold_obs *o, const double *theta)
{
    reduced r = {.o = o,
                 .z_start = -INFINITY,
                 .z_top = -INFINITY,
                 .top = &l->points[o->first], /* where coefficients are no numbers */
                 .end = &o->end};
    const coefficients c = coefficients_of(l, o->group, theta);
    for (size_t i = o->first; i < o->first + o->n_points; i++) {
        double z = height(&l->points[i], o->sign, &c, l->n_x);
        if (z > r.z_top) {
            r.z_top = z;
            r.top = &l->points[i];
        }
    }
    if (o->truncated)
        r.z_start = height(&o->start, o->sign, &c, l->n_x);
    r.log_s = theta[likelihood_log_s(l, o->group)];
    r.inverse_s = exp(-r.log_s);
    r.lasted = 1.0 - l->share;
    if (o->ended) {
        r.z_end = height(&o->end, o->sign, &c, l->n_x);
        reduce_rate(l, &c, &r);
        reduce_gap(l, &r);
        r.ended = (1.0 - l->share) * o->weight * exp(r.log_rate - r.log_s);
        r.lasted = (1.0 - l->share) * (1.0 - o->weight);
    }
    return r;
}

/* Without contamination: in logs, for the far tails count. */
static part exact_part(const reduced *r, double shift)
{
    part p = {.value = -INFINITY, .factor = 1};
    double w = r->o->ended ? r->o->weight : 0, f_top = 0, f_end = 0, q_top = 0, slope;
    double top = (r->z_top + shift) * r->inverse_s, end = 0, f = -INFINITY, q = -INFINITY;
    if (w > 0) {
        end = (r->z_end + shift) * r->inverse_s;
        f = normal_log_mean_density(top, end, &f_top, &f_end) - r->log_s + r->log_rate + log(w);
    }
    if (w < 1)
        q = normal_log_tail(top, &q_top) + log1p(-w);
    if (f == -INFINITY && q == -INFINITY)
        return p;
    p.value = fmax(f, q) + log1p(exp(-fabs(f - q)));
    p.ended = exp(f - p.value);
    double lasted = exp(q - p.value);
    p.d_top = (p.ended * f_top + lasted * q_top) * r->inverse_s;
    p.d_end = p.ended * f_end * r->inverse_s;
    p.d_log_s = -p.ended * (1.0 + top * f_top + end * f_end) - lasted * top * q_top;
    if (r->o->truncated) {
        double start = (r->z_start + shift) * r->inverse_s;
        p.value -= normal_log_tail(start, &slope);
        p.d_start = -slope * r->inverse_s;
        p.d_log_s += slope * start;
    }
    return p;
}

/* How it ended: (1 - share) [w f + (1 - w) Q] + share / 2. */
EACH_PART void parts_end(const likelihood *l, const reduced *r, const fours_stored *shift,
                         parts *out)
{
    fours top = (r->z_top + *shift) * r->inverse_s, f = {0}, d_top = {0}, d_end = {0}, q = {0};
    fours by_top = {0}, by_end = {0}, w = {0};
    double width = (r->z_end - r->z_top) * r->inverse_s;
    if (r->ended > 0) {
        f = r->ended * normal_mean_density(&top, width, &d_top, &d_end);
        by_top = r->ended * d_top;
        by_end = r->ended * d_end;
        w = fours_of(width);
    }
    if (r->lasted > 0) {
        fours density = normal_density(top);
        q = r->lasted * normal_tail(top, density);
        by_top -= r->lasted * density;
    }
    fours all = f + q + 0.5 * l->share;
    by_top /= all;
    by_end /= all;
    *out = (parts){.factor = all,
                   .ended = f / all,
                   .d_top = by_top * r->inverse_s,
                   .d_end = by_end * r->inverse_s,
                   .d_log_s = -f / all - top * by_top - (top + w) * by_end};
}

/* Below this many spreads a threshold is as good as never passed: 1e-12. */
static const double NEAR = -7.0;

/* Given that it was not yet passed at the start: divided by (1 - share) Q + share. A start far
 * beyond the threshold then speaks of a wrong label, not of the threshold. */
EACH_PART void parts_start(const likelihood *l, const reduced *r, const fours_stored *shift,
                           parts *p)
{
    fours start = (r->z_start + *shift) * r->inverse_s, density = normal_density(start);
    fours all = (1.0 - l->share) * normal_tail(start, density) + l->share;
    fours by_start = (l->share - 1.0) * density / all;
    p->factor /= all;
    p->d_start = -by_start * r->inverse_s;
    p->d_log_s += start * by_start;
}

EACH_PROCESSOR static void contaminated(const likelihood *l, const reduced *r,
                                        const fours_stored *shift, size_t n, parts *out)
{
    for (size_t i = 0; i < n; i++) {
        four_longs near = (r->z_start + shift[i]) * r->inverse_s > NEAR;
        parts_end(l, r, &shift[i], &out[i]);
        if (r->o->truncated && (near[0] | near[1] | near[2] | near[3]))
            parts_start(l, r, &shift[i], &out[i]);
    }
}

static part one_of(const parts *p, int lane)
{
    return (part){p->value[lane], p->factor[lane],  p->d_start[lane], p->d_top[lane],
                  p->d_end[lane], p->d_log_s[lane], p->ended[lane]};
}

static void put(parts *p, int lane, part one)
{
    p->value[lane] = one.value;
    p->factor[lane] = one.factor;
    p->d_start[lane] = one.d_start;
    p->d_top[lane] = one.d_top;
    p->d_end[lane] = one.d_end;
    p->d_log_s[lane] = one.d_log_s;
    p->ended[lane] = one.ended;
}

void threshold_parts(const likelihood *l, const reduced *r, const fours_stored *shift, size_t n,
                     parts *out)
{
    if (l->share > 0) {
        contaminated(l, r, shift, n, out);
        return;
    }
    for (size_t i = 0; i < n; i++)
        for (int lane = 0; lane < 4; lane++)
            put(&out[i], lane, exact_part(r, shift[i][lane]));
}

part threshold_part(const likelihood *l, const reduced *r, double shift)
{
    if (!(l->share > 0))
        return exact_part(r, shift);
    parts p;
    fours_stored at = fours_of(shift);
    contaminated(l, r, &at, 1, &p);
    return one_of(&p, 0);
}

static void add_height(const likelihood *l, const threshold_obs *o, const threshold_point *p,
                       double d, double *gradient)
{
    gradient[likelihood_b0(l, o->group)] -= o->sign * d;
    for (unsigned k = 0; k < l->n_x; k++)
        gradient[likelihood_b(l, o->group, k)] -= o->sign * d * p->x[k];
}

void threshold_add(const likelihood *l, const reduced *r, const part *p, double *gradient)
{
    const threshold_obs *o = r->o;
    gradient[likelihood_log_s(l, o->group)] += p->d_log_s;
    add_height(l, o, r->top, p->d_top + p->ended * r->gap_slope, gradient);
    if (o->truncated)
        add_height(l, o, &o->start, p->d_start, gradient);
    if (!o->ended)
        return;
    add_height(l, o, r->end, p->d_end, gradient);
    add_height(l, o, &o->end, -p->ended * r->gap_slope, gradient);
    for (unsigned k = 0; k < l->n_x; k++)
        gradient[likelihood_b(l, o->group, k)] -= o->sign * p->ended * r->rate_slope * o->rate.x[k];
}
