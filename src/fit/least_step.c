/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "fit/least_step.h"

#include "base/array.h"
#include "fit/fieller.h"

#include <math.h>
#include <stdlib.h>

#include <gsl/gsl_cdf.h>
#include <gsl/gsl_multifit.h>

enum { FEWEST = 6, TERMS = 3 };

typedef struct steps {
    size_t n;
    double *level, *size; /* dB */
    double lo, hi, middle;
} steps;

static steps steps_of(const boundary *b, flip_direction d)
{
    const boundary_flip *items;
    size_t n = boundary_flips(b, &items);
    steps s = {.level = xmalloc(n, sizeof *s.level), .size = xmalloc(n, sizeof *s.size)};
    s.lo = INFINITY;
    s.hi = -INFINITY;
    for (size_t i = 0; i < n; i++) {
        const boundary_flip *f = &items[i];
        if (f->direction != d || f->weight < FLIP_ASSERTED || !isfinite(f->level_after_db))
            continue;
        s.level[s.n] = f->level_db;
        s.size[s.n++] = fabs(f->level_after_db - f->level_db);
        s.lo = fmin(s.lo, f->level_db);
        s.hi = fmax(s.hi, f->level_db);
        s.middle += f->level_db;
    }
    s.middle /= s.n ? (double)s.n : 1;
    return s;
}

/* b and c of a + b x + c x^2, x from the middle, and their covariance scaled by the residuals. */
typedef struct bend {
    double b, c, bb, bc, cc;
} bend;

static bend bend_of(const steps *s)
{
    double squares;
    gsl_matrix *x = gsl_matrix_alloc(s->n, TERMS), *cov = gsl_matrix_alloc(TERMS, TERMS);
    gsl_vector *beta = gsl_vector_alloc(TERMS);
    gsl_vector_view y = gsl_vector_view_array(s->size, s->n);
    gsl_multifit_linear_workspace *work = gsl_multifit_linear_alloc(s->n, TERMS);
    for (size_t i = 0; i < s->n; i++)
        for (size_t k = 0; k < TERMS; k++)
            gsl_matrix_set(x, i, k, pow(s->level[i] - s->middle, (double)k));
    gsl_multifit_linear(x, &y.vector, beta, cov, &squares, work);
    bend out = {gsl_vector_get(beta, 1), gsl_vector_get(beta, 2), gsl_matrix_get(cov, 1, 1),
                gsl_matrix_get(cov, 1, 2), gsl_matrix_get(cov, 2, 2)};
    gsl_multifit_linear_free(work);
    gsl_vector_free(beta);
    gsl_matrix_free(cov);
    gsl_matrix_free(x);
    return out;
}

figure least_step(const boundary *b, flip_direction d, char **reason)
{
    const char *way = d == FLIP_UP ? "up" : "down";
    figure f = {(double)NAN, (double)NAN, (double)NAN};
    steps s = steps_of(b, d);
    *reason = NULL;
    if (s.n < FEWEST || s.hi - s.lo < 1) {
        *reason = xformat("not determined: %zu sure flip%s %s with both levels heard", s.n,
                          s.n == 1 ? "" : "s", way);
    } else {
        bend p = bend_of(&s);
        double lo, hi, t = gsl_cdf_tdist_Pinv(0.975, (double)(s.n - TERMS));
        double place = s.middle - p.b / (2 * p.c);
        if (!(p.c > 0) || !fieller(p.b, 2 * p.c, p.bb, 2 * p.bc, 4 * p.cc, t, &lo, &hi))
            *reason = xformat("not determined: over %.1f dB the step has no lowest point that %zu "
                              "flips %s tell",
                              s.hi - s.lo, s.n, way);
        else if (place < s.lo || place > s.hi)
            *reason = xformat("not determined: the step still falls at %.1f dB, the %s flip",
                              place < s.lo ? s.lo : s.hi, place < s.lo ? "softest" : "loudest");
        else
            f = (figure){place, s.middle + lo, s.middle + hi};
    }
    free(s.level);
    free(s.size);
    return f;
}
