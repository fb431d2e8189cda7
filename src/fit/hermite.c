/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/hermite.h"

#include "base/array.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

#include <gsl/gsl_integration.h>

enum { NODES = 5, TRIES = 12, AGAIN = 3 };
/* Places that serve: centre off by so many standard deviations, width off by this factor. At its
 * limit a normal weight is integrated to 6e-4 by five nodes, to 4e-4 by four. */
static const double OFF_CENTRE[2] = {0.4, 0.5}, OFF_WIDTH[2] = {1.15, 1.25};
/* No narrower than that at one step: at first one node may have all the weight. */
static const double NARROWER = 0.25;

struct hermite {
    size_t nodes;
    double x[NODES], log_weight[NODES]; /* for exp(g) instead of exp(-x^2) exp(g) */
    double shift[NODES], value[NODES];  /* value becomes the posterior weight */
    size_t most;
    double *gradient; /* [NODES][most] */
};

hermite *hermite_new(size_t most_parameters, bool few_nodes)
{
    hermite *h = xcalloc(1, sizeof *h);
    h->nodes = few_nodes ? 4 : NODES;
    gsl_integration_fixed_workspace *w =
        gsl_integration_fixed_alloc(gsl_integration_fixed_hermite, h->nodes, 0, 1, 0, 0);
    for (size_t q = 0; q < h->nodes; q++) {
        h->x[q] = gsl_integration_fixed_nodes(w)[q];
        h->log_weight[q] = log(gsl_integration_fixed_weights(w)[q]) + h->x[q] * h->x[q];
    }
    gsl_integration_fixed_free(w);
    h->most = most_parameters;
    h->gradient = xmalloc(h->nodes * most_parameters, sizeof *h->gradient);
    return h;
}

void hermite_free(hermite *h)
{
    if (!h)
        return;
    free(h->gradient);
    free(h);
}

/* f and the normal density at the nodes of a place; returns the log of the integral, and the
 * posterior's mean and standard deviation. */
static double try_place(hermite *h, hermite_value f, const void *data, double sd,
                        const hermite_place *place, bool gradient, hermite_place *posterior)
{
    double top = -INFINITY, sum = 0, square = 0;
    if (gradient)
        memset(h->gradient, 0, h->nodes * h->most * sizeof *h->gradient);
    for (size_t q = 0; q < h->nodes; q++) {
        double u = place->centre + M_SQRT2 * place->sd * h->x[q];
        h->shift[q] = u;
        h->value[q] = h->log_weight[q] - 0.5 * u * u / (sd * sd) +
                      f(data, u, gradient ? &h->gradient[q * h->most] : NULL);
        top = fmax(top, h->value[q]);
    }
    if (top == -INFINITY)
        return top;
    for (size_t q = 0; q < h->nodes; q++) {
        h->value[q] = exp(h->value[q] - top);
        sum += h->value[q];
    }
    posterior->centre = 0;
    for (size_t q = 0; q < h->nodes; q++) {
        h->value[q] /= sum;
        posterior->centre += h->value[q] * h->shift[q];
    }
    for (size_t q = 0; q < h->nodes; q++)
        square += h->value[q] * pow(h->shift[q] - posterior->centre, 2);
    posterior->sd = sqrt(square);
    return top + log(sum) + log(place->sd / (sd * sqrt(M_PI)));
}

static bool serves(const hermite *h, const hermite_place *place, const hermite_place *posterior)
{
    int rule = h->nodes == NODES;
    return fabs(posterior->centre - place->centre) <= OFF_CENTRE[rule] * place->sd &&
           posterior->sd * OFF_WIDTH[rule] >= place->sd &&
           posterior->sd <= OFF_WIDTH[rule] * place->sd;
}

/* The value at the first place that serves, or the last of so many. */
static double seek(hermite *h, hermite_value f, const void *data, double sd, hermite_place *place,
                   bool gradient, int tries, bool *served)
{
    hermite_place posterior = *place;
    double value = -INFINITY;
    *served = false;
    for (int k = 0; k < tries; k++) {
        value = try_place(h, f, data, sd, place, gradient, &posterior);
        *served = value > -INFINITY && serves(h, place, &posterior);
        if (*served || value == -INFINITY || k + 1 == tries)
            break;
        *place = (hermite_place){posterior.centre, fmax(posterior.sd, NARROWER * place->sd)};
    }
    return value;
}

double hermite_normal(hermite *h, hermite_value f, const void *data, double sd,
                      hermite_place *place, size_t n, double *opt_gradient, double *opt_d_log_sd)
{
    bool gradient = opt_gradient != NULL, served = false;
    double value = -INFINITY;
    if (place->sd > 0)
        value = seek(h, f, data, sd, place, gradient, AGAIN, &served);
    if (!served) {
        *place = (hermite_place){0, sd};
        value = seek(h, f, data, sd, place, gradient, TRIES, &served);
    }
    if (value == -INFINITY) {
        *place = (hermite_place){0, 0};
        return value;
    }
    for (size_t q = 0; opt_gradient && q < h->nodes; q++) {
        for (size_t i = 0; i < n; i++)
            opt_gradient[i] += h->value[q] * h->gradient[q * h->most + i];
        *opt_d_log_sd += h->value[q] * (h->shift[q] * h->shift[q] / (sd * sd) - 1);
    }
    return value;
}
