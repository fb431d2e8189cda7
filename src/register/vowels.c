/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/vowels.h"

#include "base/array.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { NODES = VOWEL_NODES, MOST = VOWELS_MOST, FACTOR_ROUNDS = 6, SPLIT_ROUNDS = 2 };
static const double least_db = 2.5;     /* of what vowels do at all */
static const double split_db = 0.8;     /* of what is left, for one more vowel */
static const double smooth = 5;         /* 1 / dB^2, of a shape's squared second differences */
static const double small = 0.05;       /* 1 / dB^2, of a shape's squares */
static const double temper = 0.3;       /* of a frame's evidence: neighbours say the same */
static const double stay = 0.95;        /* in a vowel, from frame to frame of those searched with */
static const float most_var_db2 = 9;    /* of the model's residual, which holds the vowels, too */
static const double apart = 1.1;        /* two frequencies whose difference along T tells a slope */
static const float share_least = 1e-3F; /* of a frame that counts */

typedef struct fit { /* of the vowels to residuals */
    const design *d;
    float (*r)[HARMONICS];
    float var[HARMONICS];
    const vowels *v;
    float (*q)[MOST]; /* [n] how likely each vowel is */
} fit;

static fit fit_new(const model *m, const design *d, float (*r)[HARMONICS])
{
    fit f = {.d = d, .r = r, .v = &m->mouth, .q = xcalloc(d->ev->n, sizeof *f.q)};
    for (int h = 0; h < HARMONICS; h++)
        f.var[h] = fminf((float)m->sigma[h * HARMONICS + h], most_var_db2);
    return f;
}

typedef struct seen { /* a frame; nothing counts where sum is 0 */
    float left[HARMONICS], w[HARMONICS], sum;
    int node[HARMONICS];   /* the last at or below each harmonic */
    float part[HARMONICS]; /* of the way to the next */
} seen;

static seen seen_at(const fit *f, size_t i)
{
    const design *d = f->d;
    seen s = {.sum = 0};
    int n = 0;
    for (int h = 0; h < HARMONICS; h++) {
        float at = ((float)d->first[i][h] + d->beyond[i][h]) * (NODES - 1) / (MODEL_SPLINES - 3);
        bool there = isfinite(d->var[i][h]) && !isnan(f->r[i][h]) && d->ev->edge_s[i] >= 0;
        s.node[h] = at < NODES - 2 ? (int)at : NODES - 2;
        s.part[h] = at - (float)s.node[h];
        s.left[h] = there ? f->r[i][h] : 0;
        s.w[h] = there ? 1 / (f->var[h] + d->var[i][h]) : 0;
        s.sum += s.w[h];
        n += there;
    }
    if (n < 2)
        s.sum = 0;
    return s;
}

static float at_harmonic(const seen *s, const float *shape, int h)
{
    const float *x = shape + s->node[h];
    return x[0] + s->part[h] * (x[1] - x[0]);
}

/* What a shape does at the harmonics, the weighted mean taken out: the gain is free. */
static float centred(const seen *s, const float *shape, float x[HARMONICS])
{
    float mean = 0;
    for (int h = 0; h < HARMONICS; h++) {
        x[h] = at_harmonic(s, shape, h);
        mean += s->w[h] * x[h] / s->sum;
    }
    for (int h = 0; h < HARMONICS; h++)
        x[h] -= mean;
    return mean;
}

/* Takes the vowels that the fit has by now out of what is left. */
static void leave(const fit *f, size_t i, seen *s)
{
    for (int k = 0; k < f->v->n; k++)
        for (int h = 0; h < HARMONICS && f->q[i][k] > share_least; h++)
            s->left[h] -= s->w[h] > 0 ? f->q[i][k] * at_harmonic(s, f->v->shape[k], h) : 0;
}

/* Weighted least squares for a shape. */
typedef struct equations {
    double a[NODES][NODES], b[NODES];
} equations;

/* A frame that has x of the shape, on average, and xx of its square. */
static void add_frame(equations *eq, const seen *s, double x, double xx, float mean)
{
    for (int h = 0; h < HARMONICS; h++) {
        int k = s->node[h];
        double w = (double)s->w[h], hi = (double)s->part[h], lo = 1 - hi;
        double goal = w * (x * (double)s->left[h] + xx * (double)mean);
        eq->a[k][k] += w * xx * lo * lo;
        eq->a[k + 1][k] += w * xx * lo * hi;
        eq->a[k + 1][k + 1] += w * xx * hi * hi;
        eq->b[k] += lo * goal;
        eq->b[k + 1] += hi * goal;
    }
}

static void solve(equations *eq, float *shape)
{
    static const double d[3] = {1, -2, 1};
    for (int k = 0; k < NODES; k++)
        eq->a[k][k] += small;
    for (int k = 0; k + 2 < NODES; k++)
        for (int p = 0; p < 3; p++)
            for (int q = 0; q <= p; q++)
                eq->a[k + p][k + q] += smooth * d[p] * d[q];
    gsl_matrix_view a = gsl_matrix_view_array(&eq->a[0][0], NODES, NODES);
    gsl_vector_view b = gsl_vector_view_array(eq->b, NODES);
    gsl_linalg_cholesky_decomp1(&a.matrix);
    gsl_linalg_cholesky_svx(&a.matrix, &b.vector);
    for (int k = 0; k < NODES; k++)
        shape[k] = (float)eq->b[k];
}

/* As formants that all move a little. */
static void begin_shape(const model *m, float *shape)
{
    double per_node = (m->hi - m->lo) / (NODES - 1);
    for (int k = 0; k < NODES; k++) {
        double hz = 300 * (exp2(m->lo + per_node * k) - 1);
        shape[k] = (float)((model_tract(m, hz * apart) - model_tract(m, hz / apart)) / 2);
    }
}

/* The one shape that what is left has most of, by EM, each frame with a normal share of it: u[n].
 * Returns its root mean square, dB. */
static double factor(const model *m, const fit *f, float *u)
{
    float shape[NODES];
    double power = 0;
    size_t frames = f->d->ev->n;
    equations *eq = xmalloc(1, sizeof *eq);
    seen *all = xmalloc(frames, sizeof *all);
    begin_shape(m, shape);
    for (size_t i = 0; i < frames; i++) {
        all[i] = seen_at(f, i);
        leave(f, i, &all[i]);
    }
    for (int round = 0; round <= FACTOR_ROUNDS; round++) {
        double squares = 0, n = 0;
        memset(eq, 0, sizeof *eq);
        power = 0;
        for (size_t i = 0; i < frames; i++) {
            float x[HARMONICS], mass = 0, along = 0;
            const seen *s = &all[i];
            u[i] = 0;
            if (!(s->sum > 0))
                continue;
            float mean = centred(s, shape, x);
            for (int h = 0; h < HARMONICS; h++) {
                mass += s->w[h] * x[h] * x[h];
                along += s->w[h] * x[h] * s->left[h];
                power += (double)(x[h] * x[h]) / HARMONICS;
            }
            u[i] = along / (1 + mass);
            double square = (double)(u[i] * u[i] + 1 / (1 + mass));
            add_frame(eq, s, (double)u[i], square, mean);
            squares += square;
            n++;
        }
        power = n > 0 ? sqrt(power / n) : 0;
        if (round == FACTOR_ROUNDS || !(n > 0))
            break;
        solve(eq, shape);
        for (int k = 0; k < NODES; k++)
            shape[k] *= (float)sqrt(squares / n);
    }
    free(all);
    free(eq);
    return power;
}

/* own[k]: what frame i says for each vowel, 1 for the likeliest. */
static void ask(const fit *f, size_t i, float own[MOST])
{
    seen s = seen_at(f, i);
    double says[MOST] = {0}, best = -(double)INFINITY;
    for (int k = 0; k < f->v->n; k++) {
        float x[HARMONICS] = {0}, mean = 0;
        for (int h = 0; h < HARMONICS && s.sum > 0; h++) {
            x[h] = s.left[h] - at_harmonic(&s, f->v->shape[k], h);
            mean += s.w[h] * x[h] / s.sum;
        }
        for (int h = 0; h < HARMONICS && s.sum > 0; h++)
            says[k] -= 0.5 * temper * (double)(s.w[h] * (x[h] - mean) * (x[h] - mean));
        best = fmax(best, says[k]);
    }
    for (int k = 0; k < f->v->n; k++)
        own[k] = (float)exp(says[k] - best);
}

/* x sums to 1. */
static void norm(float x[MOST], int n)
{
    float sum = 0;
    for (int k = 0; k < n; k++)
        sum += x[k] += 1e-30F;
    for (int k = 0; k < n; k++)
        x[k] /= sum;
}

/* The chain forth and back. */
static void tell_vowels(const fit *f)
{
    const evidence *ev = f->d->ev;
    int n = f->v->n;
    float(*own)[MOST] = xmalloc(ev->n, sizeof *own), change = (float)(1 - stay) / (float)n;
    for (size_t i = 0; i < ev->n; i++) {
        ask(f, i, own[i]);
        for (int k = 0; k < n; k++)
            f->q[i][k] =
                own[i][k] * (isinf(ev->gap_s[i]) ? 1 : (float)stay * f->q[i - 1][k] + change);
        norm(f->q[i], n);
    }
    float after[MOST];
    for (size_t i = ev->n; i-- > 0;) {
        float all = 0, next[MOST];
        bool last = i + 1 == ev->n || isinf(ev->gap_s[i + 1]);
        for (int k = 0; k < n; k++) {
            after[k] = last ? 1 : after[k];
            f->q[i][k] *= after[k];
            all += own[i][k] * after[k];
        }
        norm(f->q[i], n);
        for (int k = 0; k < n; k++)
            next[k] = (float)stay * own[i][k] * after[k] + change * all;
        norm(next, n);
        memcpy(after, next, sizeof after);
    }
    free(own);
}

static void learn_shapes(const fit *f, vowels *v)
{
    equations *eq = xmalloc(1, sizeof *eq);
    for (int k = 0; k < v->n; k++) {
        memset(eq, 0, sizeof *eq);
        for (size_t i = 0; i < f->d->ev->n; i++) {
            float x[HARMONICS], q = f->q[i][k];
            if (!(f->d->counts[i] > 0) || q < share_least)
                continue;
            seen s = seen_at(f, i);
            if (s.sum > 0)
                add_frame(eq, &s, (double)q, (double)q, centred(&s, v->shape[k], x));
        }
        solve(eq, v->shape[k]);
    }
    free(eq);
}

/* The vowel in which what is left has most of u. */
static int widest(const fit *f, const float *u)
{
    double squares[MOST] = {0};
    int best = 0;
    for (size_t i = 0; i < f->d->ev->n; i++)
        for (int k = 0; k < f->v->n; k++)
            squares[k] += (double)(f->q[i][k] * u[i] * u[i]);
    for (int k = 1; k < f->v->n; k++)
        best = squares[k] > squares[best] ? k : best;
    return best;
}

/* One vowel becomes two, by the sign of u about its mean there. */
static void split(const fit *f, vowels *v, const float *u)
{
    int which = widest(f, u);
    double sum = 0, mass = 1e-9;
    for (size_t i = 0; i < f->d->ev->n; i++) {
        sum += (double)(f->q[i][which] * u[i]);
        mass += (double)f->q[i][which];
    }
    for (size_t i = 0; i < f->d->ev->n; i++) {
        bool goes = (double)u[i] > sum / mass;
        f->q[i][v->n] = goes ? f->q[i][which] : 0;
        f->q[i][which] = goes ? 0 : f->q[i][which];
    }
    memcpy(v->shape[v->n], v->shape[which], sizeof v->shape[which]);
    v->n++;
}

static void begin(model *m, const fit *f)
{
    vowels *v = &m->mouth;
    float *u = xmalloc(f->d->ev->n, sizeof *u);
    v->n = 1;
    memset(v->shape[0], 0, sizeof v->shape[0]);
    for (size_t i = 0; i < f->d->ev->n; i++)
        f->q[i][0] = 1;
    while (v->n < MOST && factor(m, f, u) >= (v->n > 1 ? split_db : least_db)) {
        split(f, v, u);
        for (int round = 0; round < SPLIT_ROUNDS; round++) {
            learn_shapes(f, v);
            learn_shapes(f, v);
            tell_vowels(f);
        }
    }
    if (v->n == 1)
        v->n = 0;
    free(u);
}

bool vowels_change(const model *m, const design *d, float (*r)[HARMONICS])
{
    fit f = fit_new(m, d, r);
    float *u = xmalloc(d->ev->n, sizeof *u);
    bool change = factor(m, &f, u) >= least_db;
    free(u);
    free(f.q);
    return change;
}

void vowels_learn(model *m, const design *d, float (*r)[HARMONICS])
{
    fit f = fit_new(m, d, r);
    if (m->mouth.n == 0) {
        begin(m, &f);
    } else {
        tell_vowels(&f);
        learn_shapes(&f, &m->mouth);
    }
    free(f.q);
}

void vowels_take_out(const model *m, design *d, float (*r)[HARMONICS])
{
    fit f = fit_new(m, d, r);
    tell_vowels(&f);
    for (size_t i = 0; i < d->ev->n; i++) {
        seen s = seen_at(&f, i);
        for (int k = 0; k < m->mouth.n; k++)
            for (int h = 0; h < HARMONICS && f.q[i][k] > share_least; h++)
                if (isfinite(d->var[i][h]))
                    d->y[i][h] -= f.q[i][k] * at_harmonic(&s, m->mouth.shape[k], h);
    }
    free(f.q);
}
