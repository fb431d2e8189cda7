/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/interval.h"

#include <assert.h>
#include <math.h>
#include <string.h>

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_eigen.h>
#include <gsl/gsl_errno.h>
#include <gsl/gsl_linalg.h>

enum { P = MAXIMUM_PARAMETERS };

/* Lower Cholesky factor of the leading block; false when it is not positive definite. */
static bool factor(const square *a, size_t n, square *out)
{
    *out = *a;
    gsl_matrix_view m = gsl_matrix_view_array_with_tda(&out->at[0][0], n, n, P);
    gsl_error_handler_t *handler = gsl_set_error_handler_off();
    bool done = gsl_linalg_cholesky_decomp1(&m.matrix) == GSL_SUCCESS;
    gsl_set_error_handler(handler);
    for (size_t i = 0; i < n; i++)
        for (size_t j = i + 1; j < n; j++)
            out->at[i][j] = 0;
    return done;
}

/* Least curvature that counts, in units of 1 / scale^2: a standard error of 1e4 scales. */
static const double LEAST_CURVATURE = 1e-8;

/* The inverse of a curvature. At a kink the differences of the gradient may come out negative in
 * some direction: there its size counts, which is what the profile needs to find its way. */
static void invert(const square *curvature, const double *scale, size_t n, square *out)
{
    square a = {0}, v;
    double values[P];
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            a.at[i][j] = curvature->at[i][j] * scale[i] * scale[j];
    gsl_matrix_view am = gsl_matrix_view_array_with_tda(&a.at[0][0], n, n, P);
    gsl_matrix_view vm = gsl_matrix_view_array_with_tda(&v.at[0][0], n, n, P);
    gsl_vector_view w = gsl_vector_view_array(values, n);
    gsl_eigen_symmv_workspace *work = gsl_eigen_symmv_alloc(n);
    gsl_eigen_symmv(&am.matrix, &w.vector, &vm.matrix, work);
    gsl_eigen_symmv_free(work);
    *out = (square){0};
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            for (size_t k = 0; k < n; k++)
                out->at[i][j] += scale[i] * v.at[i][k] * v.at[j][k] * scale[j] /
                                 fmax(fabs(values[k]), LEAST_CURVATURE);
}

/* Half the step in a spread (log st, or st of the offset) for the slope of a variance. */
static const double SPREAD_STEP = 0.1;

void fitted_settle(fitted *f)
{
    double theta[P];
    square curvature = maximum_curvature(&f->f, f->top.theta, f->f.n);
    assert(f->f.n - f->n_means <= INTERVAL_SPREADS);
    invert(&curvature, f->f.scale, f->f.n, &f->covariance);
    f->settled = factor(&f->covariance, f->f.n, &f->root);
    memcpy(theta, f->top.theta, sizeof theta);
    for (size_t v = f->n_means; v < f->f.n; v++) {
        for (int side = 0; side < 2; side++) {
            theta[v] = f->top.theta[v] + (side ? SPREAD_STEP : -SPREAD_STEP);
            curvature = maximum_curvature(&f->f, theta, f->n_means);
            invert(&curvature, f->f.scale, f->n_means, &f->means[v - f->n_means][side]);
        }
        theta[v] = f->top.theta[v];
    }
}

/* Voices' spreads are thought to differ by a normal 0.57 in log, 0.2 to 1.9 st, which is worth as
 * much as so many degrees of freedom: 1 / (2 0.57^2). A prior that lets them differ by more makes
 * the curvature too small: the estimate scatters by less than it says, by WIDER of the prior's
 * share of it, 1 - 0.57^2 / 0.8^2. */
static const double LEAST_FREEDOM = 1.54, WIDER = 0.5;

static double quadratic(const square *a, size_t n, const double *c)
{
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++)
            sum += c[i] * a->at[i][j] * c[j];
    return sum;
}

double fitted_variance(const fitted *f, const double *contrast)
{
    return quadratic(&f->covariance, f->f.n, contrast);
}

/* Variance of the estimate of a spread over that which its curvature says. */
static double scatters(const fitted *f, size_t at)
{
    return 1 - WIDER * fmin(f->prior_precision * f->covariance.at[at][at], 1);
}

double interval_freedom(const fitted *f, const double *contrast)
{
    double slope[P] = {0};
    for (size_t v = f->n_means; v < f->f.n; v++) {
        const square *side = f->means[v - f->n_means];
        slope[v] = sqrt(scatters(f, v)) *
                   log(quadratic(&side[1], f->n_means, contrast) /
                       quadratic(&side[0], f->n_means, contrast)) /
                   (2 * SPREAD_STEP);
    }
    double of_log_variance = quadratic(&f->covariance, f->f.n, slope);
    return fmax(2.0 / of_log_variance, LEAST_FREEDOM);
}

cuts interval_cuts(double nu)
{
    double t = gsl_cdf_tdist_Pinv(0.975, nu), cut = nu * log1p(t * t / nu);
    return nu > 1e6 ? interval_cuts(1e6) : (cuts){cut, cut};
}

/* The root of the fall is normal but for a shift, a sixth of the skewness (Pierce & Schafer 1986,
 * JASA 81:977): (1/3) sqrt(2 / nu) for the chi-squared of nu degrees, whose log scale has the
 * variance 1 / 2 nu. */
cuts interval_cuts_spread(const fitted *f, size_t at)
{
    double root = gsl_cdf_ugaussian_Pinv(0.975) * sqrt(scatters(f, at));
    double skew = 2.0 / 3.0 * sqrt(f->covariance.at[at][at]);
    return (cuts){pow(root - skew, 2), pow(root + skew, 2)};
}

/* A parabola of the root through the three, no farther than straight to the upper end: the lower
 * one tells little where a spread may be as small as it likes. */
double interval_median(double likeliest, double lo, double hi, cuts cut)
{
    double above = sqrt(cut.above), below = sqrt(cut.below), root = 0.5 * (above - below);
    double up = (hi - likeliest) / above, down = (likeliest - lo) / below;
    double bend = fmax(up - down, 0) / (above + below);
    return likeliest + fmax(up + bend * (root - above), 0) * root;
}

/* The profile along a contrast: directions that leave it alone, and the ridge to walk along. */
typedef struct profile {
    const fitted *f;
    double sd;       /* of the contrast */
    double ridge[P]; /* d theta / d contrast of the quadratic profile */
    square directions;
} profile;

static profile profile_along(const fitted *f, const double *contrast)
{
    size_t n = f->f.n;
    profile p = {.f = f, .sd = sqrt(fitted_variance(f, contrast))};
    double u[P] = {0}, v[P];
    for (size_t i = 0; i < n; i++)
        for (size_t j = 0; j < n; j++) {
            p.ridge[i] += f->covariance.at[i][j] * contrast[j] / (p.sd * p.sd);
            u[j] += f->root.at[i][j] * contrast[i] / p.sd;
        }
    /* u is a unit vector; the Householder mirror that sends it to +-e_0 has as its other columns
     * an orthonormal basis of what is orthogonal to it. */
    double flip = u[0] >= 0 ? 1 : -1, norm = 2 * (1 + fabs(u[0]));
    memcpy(v, u, sizeof v);
    v[0] += flip;
    for (size_t d = 1; d < n; d++)
        for (size_t i = 0; i < n; i++)
            for (size_t k = 0; k <= i; k++) {
                double column = (k == d) - 2 * v[k] * v[d] / norm;
                p.directions.at[d - 1][i] += f->root.at[i][k] * column;
            }
    return p;
}

/* A profile within 2e-4 of its maximum: 1e-4 of the half-width. */
static const double FLAT = 0.02;

/* Square root of twice the fall at `shift` from the maximum; theta goes in as the last place on
 * the profile, at `*last`, and comes out as the new one. */
static double profile_root(const profile *p, double shift, double *last, double *theta)
{
    for (size_t i = 0; i < p->f->f.n; i++)
        theta[i] += (shift - *last) * p->ridge[i];
    *last = shift;
    maximum m = maximum_find(&p->f->f, theta, p->f->f.n - 1, &p->directions, FLAT);
    memcpy(theta, m.theta, sizeof m.theta);
    double fall = 2 * (p->f->top.value - m.value);
    return isfinite(fall) ? sqrt(fmax(fall, 0)) : INFINITY;
}

/* Of the interval's half-width. */
static const double CLOSE = 0.005;

/* Regula falsi on the root of the fall, which is about linear in the shift. Where the profile
 * goes over from one hill to another the fall may jump past the target: the end is the jump. */
static bool profile_end(const profile *p, double target, double side, double *shift)
{
    double theta[P], last = 0, lo = 0, r_lo = 0, hi = INFINITY, r_hi = INFINITY;
    memcpy(theta, p->f->top.theta, sizeof theta);
    *shift = side * target * p->sd;
    for (int i = 0; i < 30; i++) {
        double r = profile_root(p, *shift, &last, theta);
        if (fabs(r - target) < CLOSE * target)
            return true;
        if (r < target) {
            lo = fabs(*shift);
            r_lo = r;
        } else {
            hi = fabs(*shift);
            r_hi = r;
        }
        if (hi - lo < CLOSE * hi)
            return true;
        double next, least = i ? 0.1 : 0; /* the first step is believed as it is */
        if (isfinite(r_hi)) {
            double part = (target - r_lo) / (r_hi - r_lo);
            next = lo + (hi - lo) * fmin(fmax(part, least), 1 - least);
        } else {
            next = isfinite(hi) ? 0.5 * (lo + hi)
                                : lo * fmin(fmax(target / r_lo, 1 + 0.5 * least), 2.0);
        }
        *shift = side * next;
    }
    return false;
}

bool interval_profile(const fitted *f, const double *contrast, cuts cut, double *lo, double *hi)
{
    profile p = profile_along(f, contrast);
    double centre = 0, below, above;
    for (size_t i = 0; i < f->f.n; i++)
        centre += contrast[i] * f->top.theta[i];
    if (!profile_end(&p, sqrt(cut.below), -1, &below) ||
        !profile_end(&p, sqrt(cut.above), 1, &above))
        return false;
    *lo = centre + below;
    *hi = centre + above;
    return true;
}
