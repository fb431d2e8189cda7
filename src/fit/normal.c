/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/normal.h"

#include <assert.h>
#include <math.h>
#include <stddef.h>

#include <gsl/gsl_sf_erf.h>

/* erfc(x / sqrt 2) leaves the normal numbers at x = 37.5. */
static const double FAR = 30.0;
static const double LOG_ROOT_2PI = 0.91893853320467274178;

static double log_density(double x)
{
    return -0.5 * x * x - LOG_ROOT_2PI;
}

double normal_log_tail(double x, double *opt_slope)
{
    if (x > FAR) {
        if (opt_slope)
            *opt_slope = -gsl_sf_hazard(x);
        return gsl_sf_log_erfc(x * M_SQRT1_2) - M_LN2;
    }
    double value = x < 0 ? log1p(-0.5 * erfc(-x * M_SQRT1_2)) : log(0.5 * erfc(x * M_SQRT1_2));
    if (opt_slope)
        *opt_slope = -exp(log_density(x) - value);
    return value;
}

/* While width * (1 + |mid|) is below this, the midpoint rule with its next term is exact to 1e-9,
 * and the difference of two tails would lose digits. */
static const double NARROW = 0.02;

static double narrow(double a, double b, double *opt_da, double *opt_db)
{
    double w = b - a, m = a + 0.5 * w;
    double bend = (m * m - 1.0) / 24.0;
    if (opt_da) {
        double common = -0.5 * m + w * w * m / 24.0;
        *opt_da = common - 2.0 * w * bend;
        *opt_db = common + 2.0 * w * bend;
    }
    return log_density(m) + log1p(w * w * bend);
}

double normal_log_mean_density(double a, double b, double *opt_da, double *opt_db)
{
    assert(b >= a && !opt_da == !opt_db);
    double w = b - a, m = a + 0.5 * w;
    if (w * (1.0 + fabs(m)) < NARROW)
        return narrow(a, b, opt_da, opt_db);
    double lo = m < 0 ? -b : a, hi = m < 0 ? -a : b; /* by symmetry, into the upper tail */
    double tail = normal_log_tail(lo, NULL);
    double log_inside = tail + log1p(-exp(normal_log_tail(hi, NULL) - tail));
    if (opt_da) {
        *opt_da = 1.0 / w - exp(log_density(a) - log_inside);
        *opt_db = exp(log_density(b) - log_inside) - 1.0 / w;
    }
    return log_inside - log(w);
}
