/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/lf.h"

#include <gsl/gsl_errno.h>
#include <gsl/gsl_roots.h>
#include <math.h>

static void shape(lf_pulse *p, double rd)
{
    if (rd <= 2.7) {
        p->ra = fmax((-1 + 4.8 * rd) / 100, 1e-6);
        p->rk = (22.4 + 11.8 * rd) / 100;
        p->rg = 0.25 * p->rk / (0.11 * rd / (0.5 + 1.2 * p->rk) - p->ra);
    } else {
        double oq = 1 - 1 / (2.17 * rd);
        p->rg = 0.0093552 + 5.96 / (7.96 - 2 * oq);
        p->rk = 2 * p->rg * oq - 1.0428;
        p->ra = 0.323 / rd;
    }
}

/* eps ta = 1 - exp(-eps (1 - te)), by Newton from 1 / ta, which lies above the root. */
static double decay(double ta, double rest)
{
    double eps = 1 / ta;
    for (int i = 0; i < 60; i++) {
        double fall = exp(-eps * rest);
        double step = (eps * ta - 1 + fall) / (ta - rest * fall);
        eps -= step;
        if (fabs(step) < 1e-12 * eps)
            break;
    }
    return eps;
}

static double open_area(const lf_pulse *p, double alpha)
{
    double s = sin(p->omega * p->te), c = cos(p->omega * p->te);
    double top = alpha * s - p->omega * c + p->omega * exp(-alpha * p->te);
    return -top / ((alpha * alpha + p->omega * p->omega) * s);
}

static double return_area(const lf_pulse *p)
{
    double rest = 1 - p->te, fall = exp(-p->eps * rest);
    return -((1 - fall) / p->eps - rest * fall) / (p->eps * p->ta);
}

static double net_area(double alpha, void *pulse)
{
    const lf_pulse *p = pulse;
    return open_area(p, alpha) + return_area(p);
}

static double growth(lf_pulse *p)
{
    gsl_root_fsolver *solver = gsl_root_fsolver_alloc(gsl_root_fsolver_brent);
    gsl_function area = {net_area, p};
    gsl_root_fsolver_set(solver, &area, -30, 90);
    for (int i = 0; i < 100; i++) {
        gsl_root_fsolver_iterate(solver);
        double lo = gsl_root_fsolver_x_lower(solver), hi = gsl_root_fsolver_x_upper(solver);
        if (gsl_root_test_interval(lo, hi, 1e-10, 1e-12) == GSL_SUCCESS)
            break;
    }
    double root = gsl_root_fsolver_root(solver);
    gsl_root_fsolver_free(solver);
    return root;
}

lf_pulse lf_from_rd(double rd, double ra_factor)
{
    lf_pulse p = {0};
    shape(&p, rd);
    p.tp = 1 / (2 * p.rg);
    p.te = p.tp * (1 + p.rk);
    /* A return constant that nears the rest of the period has no solution. */
    p.ta = fmin(p.ra * ra_factor, fmax(p.ra, 0.7 * (1 - p.te)));
    p.omega = M_PI / p.tp;
    p.eps = decay(p.ta, 1 - p.te);
    p.alpha = growth(&p);
    p.e0 = -1 / (exp(p.alpha * p.te) * sin(p.omega * p.te));
    p.u0 = lf_flow(&p, p.tp);
    return p;
}

double lf_open(double rd)
{
    lf_pulse p;
    shape(&p, rd);
    return (1 + p.rk) / (2 * p.rg);
}

double lf_derivative(const lf_pulse *p, double t)
{
    if (t <= p->te)
        return p->e0 * exp(p->alpha * t) * sin(p->omega * t);
    return -(exp(-p->eps * (t - p->te)) - exp(-p->eps * (1 - p->te))) / (p->eps * p->ta);
}

double lf_flow(const lf_pulse *p, double t)
{
    if (t <= 0 || t >= 1)
        return 0;
    if (t <= p->te) {
        double growing = exp(p->alpha * t);
        double wave = p->alpha * sin(p->omega * t) - p->omega * cos(p->omega * t);
        return p->e0 * (growing * wave + p->omega) / (p->alpha * p->alpha + p->omega * p->omega);
    }
    /* From the end backwards: the flow is 0 at t = 1. */
    double fall = exp(-p->eps * (1 - p->te)), now = exp(-p->eps * (t - p->te));
    return ((now - fall) / p->eps - (1 - t) * fall) / (p->eps * p->ta);
}

double complex lf_harmonic(const lf_pulse *p, int h)
{
    double k = 2 * M_PI * h, rest = 1 - p->te, fall = exp(-p->eps * rest);
    double complex s = p->alpha - I * k;
    double so = sin(p->omega * p->te), co = cos(p->omega * p->te);
    double complex open = p->e0 * (cexp(s * p->te) * (s * so - p->omega * co) + p->omega) /
                          (s * s + p->omega * p->omega);
    double complex start = cexp(-I * k * p->te);
    double complex q = p->eps + I * k;
    double complex decaying = start * (1 - cexp(-q * rest)) / q;
    double complex level = fall * (start - 1) / (I * k); /* exp(-I k) is 1 */
    return open - (decaying - level) / (p->eps * p->ta);
}

double lf_h1h2_db(const lf_pulse *p)
{
    return 20 * log10(cabs(lf_harmonic(p, 1)) / cabs(lf_harmonic(p, 2)));
}

lf_map lf_map_new(double ra_factor)
{
    lf_map m;
    for (int i = 0; i < LF_MAP; i++) {
        m.rd[i] = 0.3 + (2.7 - 0.3) * i / (LF_MAP - 1);
        lf_pulse p = lf_from_rd(m.rd[i], ra_factor);
        m.h1h2_db[i] = lf_h1h2_db(&p);
    }
    return m;
}

double lf_map_rd(const lf_map *m, double h1h2_db)
{
    if (h1h2_db <= m->h1h2_db[0])
        return m->rd[0];
    for (int i = 1; i < LF_MAP; i++)
        if (h1h2_db < m->h1h2_db[i]) {
            double share = (h1h2_db - m->h1h2_db[i - 1]) / (m->h1h2_db[i] - m->h1h2_db[i - 1]);
            return m->rd[i - 1] + share * (m->rd[i] - m->rd[i - 1]);
        }
    return m->rd[LF_MAP - 1];
}
