/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/take_after.h"

#include <math.h>

/* By how much one day may differ from all days: slopes in st/dB, curves in st/dB^2,
 * spreads in log. */
static const double DAY_SLOPE = 0.05, DAY_CURVE = 0.003, DAY_SPREAD = 0.3;

static double error_of(const estimate *e, size_t parameter)
{
    double c[MAXIMUM_PARAMETERS] = {0};
    c[parameter] = 1;
    return sqrt(fitted_variance(&e->fit, c));
}

/* What other takes of the voice have told, as a prior. */
void prior_take_after(prior *p, const estimate *like, const estimate *e)
{
    const double *theta = like->fit.top.theta;
    double slope[2] = {0}, slope_error = 0, spread_error = 0;
    for (int d = 0; d < 2; d++) {
        if (!e->fitted[d])
            continue;
        size_t s = likelihood_log_s(&like->likelihood, like->group[d]);
        size_t b = likelihood_b(&like->likelihood, like->group[d], 0);
        slope[e->group[d]] = theta[b];
        slope_error = fmax(slope_error, error_of(like, b));
        spread_error = fmax(spread_error, error_of(like, s));
        p->spread_st[e->group[d]] = exp(theta[s]);
    }
    if (like->likelihood.n_x > 1) {
        size_t c = likelihood_b(&like->likelihood, 0, 1);
        p->curve = theta[c];
        p->curve_sd = hypot(error_of(like, c), DAY_CURVE);
    }
    p->slope = slope[0];
    p->slope_less = slope[0] - slope[1];
    p->slope_sd = hypot(slope_error, DAY_SLOPE);
    p->slope_apart = DAY_SLOPE;
    p->spread_sd = hypot(spread_error, DAY_SPREAD);
    p->slopes_known = true;
}
