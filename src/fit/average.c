/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/average.h"

#include <math.h>

#include <gsl/gsl_cdf.h>

static const double REACH = 1.959963984540054; /* normal 97.5 % point */

static double below(figure f, double at)
{
    double half = at < f.estimate ? f.estimate - f.lo95 : f.hi95 - f.estimate;
    return gsl_cdf_ugaussian_P(REACH * (at - f.estimate) / fmax(half, 1e-12));
}

/* Where so much lies below, between two places of which one has less and one more. */
static double quantile(double weight, figure a, figure b, double part, double one, double other)
{
    double lo = fmin(one, other), hi = fmax(one, other);
    for (int i = 0; i < 40; i++) {
        double middle = 0.5 * (lo + hi);
        if (weight * below(a, middle) + (1 - weight) * below(b, middle) < part)
            lo = middle;
        else
            hi = middle;
    }
    return 0.5 * (lo + hi);
}

figure figure_average(double weight, figure a, figure b)
{
    if (isnan(a.estimate) || isnan(b.estimate))
        return isnan(a.estimate) ? b : a;
    return (figure){weight * a.estimate + (1 - weight) * b.estimate,
                    quantile(weight, a, b, 0.025, a.lo95, b.lo95),
                    quantile(weight, a, b, 0.975, a.hi95, b.hi95)};
}
