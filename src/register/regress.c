/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/regress.h"

#include "base/array.h"
#include "register/covariance.h"
#include "register/design.h"
#include "register/normal.h"
#include "register/vowels.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FRAMES_MOST = 8000 }; /* more frames tell no more of some 150 numbers */
enum { LEAST_ROWS = 20, ROUNDS_MOST = 100 };
enum { EACH_ROOT = 4, ROOT_ROWS = 400 }; /* one row in 4 makes a root, or some 400 */
/* Where so little is left to gain, of twice the log-likelihood, coefficients are right to a
 * twentieth of a standard error. */
static const double settled = 0.003;
static const double begin_db = 3, begin_frames = 20; /* the residual, until data say otherwise */

regress_settings regress_defaults(void)
{
    return (regress_settings){.rho = 0.7,
                              .smooth_t = 1,
                              .ridge_s = 1e-4,
                              .ridge_d = 0.05,
                              .smooth_d = 1,
                              .ridge_a = 4,
                              .ridge_e = 100,
                              .ridge_c = 10,
                              .full_s = 20,
                              .begin_stiff = 100,
                              .shrink = 0.25,
                              .floor_db = 1};
}

/* Of the log of the prior density, -x' C x / 2 + p' x: C, by rows from its diagonal on, and p. */
enum { REACH = 3 };
typedef struct prior {
    double curve[MODEL_SIZE][REACH], pull[MODEL_SIZE];
} prior;

enum { FIRST, FIRST_STIFF, LATER, LATER_WITHOUT_VOWELS, FITS }; /* of a model */

struct regression {
    const evidence *ev;
    regress_settings s;
    design *d;
    prior usual, stiff;
    /* Roots of about the matrices of such fits: later ones have another covariance, and with vowels
     * taken out a smaller one. */
    bool rooted[FITS];
    normal_root root[FITS];
    model begin;              /* what a model begins as: the coefficients are those fitted last */
    float (*left)[HARMONICS]; /* [n] room for residuals */
    float (*less)[HARMONICS]; /* [n] the harmonics without their vowels, once some were taken out */
};

static void add_ridge(prior *p, int first, int n, double weight)
{
    for (int k = first; k < first + n; k++)
        p->curve[k][0] += weight;
}

/* Squared second differences of n coefficients from `first`. */
static void add_smooth(prior *p, int first, int n, double weight)
{
    static const double d[REACH] = {1, -2, 1};
    for (int k = first; k + 2 < first + n; k++)
        for (int a = 0; a < REACH; a++)
            for (int b = a; b < REACH; b++)
                p->curve[k + a][b - a] += weight * d[a] * d[b];
}

static prior prior_of(const regress_settings *s, double stiff)
{
    prior p = {.pull = {0}};
    add_smooth(&p, 0, MODEL_SPLINES, stiff * s->smooth_t);
    add_ridge(&p, 0, MODEL_SPLINES, 1e-4);
    add_ridge(&p, MODEL_S, HARMONICS, s->ridge_s);
    add_ridge(&p, MODEL_D, HARMONICS, s->ridge_d);
    for (int h = 0; h < HARMONICS; h++)
        p.pull[MODEL_D + h] += s->ridge_d * model_expected_step(h);
    add_smooth(&p, MODEL_D + 1, HARMONICS - 1, s->smooth_d);
    add_ridge(&p, MODEL_A, HARMONICS, s->ridge_a);
    add_smooth(&p, MODEL_A, HARMONICS, s->ridge_a);
    add_ridge(&p, MODEL_E, HARMONICS, s->ridge_e);
    add_smooth(&p, MODEL_E, HARMONICS, s->ridge_e);
    add_ridge(&p, MODEL_C, HARMONICS, stiff * s->ridge_c);
    add_smooth(&p, MODEL_C, HARMONICS, stiff * s->ridge_c);
    return p;
}

/* to += by C x */
static void add_curve(const prior *p, const double *x, double by, double *to)
{
    for (int k = 0; k < MODEL_SIZE; k++) {
        to[k] += by * p->curve[k][0] * x[k];
        for (int j = 1; j < REACH && k + j < MODEL_SIZE; j++) {
            to[k] += by * p->curve[k][j] * x[k + j];
            to[k + j] += by * p->curve[k][j] * x[k];
        }
    }
}

/* A model that knows its range and pitch, and nothing else. */
static model model_begun(const evidence *ev)
{
    model m = {.hi = 0};
    evidence_range(ev, &m.lo, &m.hi);
    for (size_t i = 0; i < ev->n; i++)
        m.pitch_mid += ev->pitch_st[i] / (double)ev->n;
    m.hi = fmax(m.hi, m.lo + 0.1);
    for (int h = 0; h < HARMONICS; h++)
        m.sigma[h * HARMONICS + h] = begin_db * begin_db;
    return m;
}

regression *regress_new(const evidence *ev, const regress_settings *s)
{
    regression *g = xcalloc(1, sizeof *g);
    size_t stride = (ev->hop_s < 0.01 ? 2 : 1) + ev->n / FRAMES_MOST;
    g->ev = ev;
    g->s = *s;
    g->begin = model_begun(ev);
    g->d = design_new(ev, &g->begin);
    design_rows(g->d, s->rho, stride);
    g->left = xmalloc(ev->n, sizeof *g->left);
    double stiff = fmax(1, s->full_s / ((double)ev->n * ev->hop_s));
    g->usual = prior_of(s, stiff);
    g->stiff = prior_of(s, stiff * s->begin_stiff);
    return g;
}

void regress_free(regression *g)
{
    if (!g)
        return;
    design_free(g->d);
    free(g->left);
    free(g->less);
    free(g);
}

/* The row that begins at frame i, as if it were so many: the frame less `rho` times the one 100 ms
 * before it. What drifts slowly is all but gone from the difference, a step is not. */
static void add_row(normal *eq, const regression *g, const model *m, size_t i, double times,
                    const double *p2)
{
    const design *d = g->d;
    size_t j = d->other[i];
    normal_frame f = {.frame = i,
                      .other = j,
                      .rho = (double)d->rho[i],
                      .s = p2[i] - 0.5,
                      .s_other = p2[j] - 0.5,
                      .counts = (double)d->counts[i] * times};
    f.sd = sqrt(fmax(0, 0.25 - f.s * f.s));
    f.sd_other = sqrt(fmax(0, 0.25 - f.s_other * f.s_other));
    normal_add(eq, m, g->ev, &f);
}

static const prior *prior_for(const regression *g, int fit)
{
    return fit == FIRST_STIFF ? &g->stiff : &g->usual;
}

/* The root of about the matrix that a fit has, from a few rows. */
static bool take_root(regression *g, int fit, const model *m, const double *p2)
{
    const prior *p = prior_for(g, fit);
    normal *eq = xcalloc(1, sizeof *eq);
    size_t rows = 0, many = g->d->n_rows / ROOT_ROWS, each = many > EACH_ROOT ? many : EACH_ROOT;
    for (size_t i = 0; i < g->ev->n; i++)
        if (g->d->counts[i] > 0 && rows++ % each == 0)
            add_row(eq, g, m, i, (double)each, p2);
    for (int k = 0; k < MODEL_SIZE; k++)
        for (int j = 0; j < REACH && k + j < MODEL_SIZE; j++)
            if (p->curve[k][j] != 0)
                eq->a[normal_place(k)][normal_place(k + j)] += p->curve[k][j];
    g->rooted[fit] = normal_factor(eq, &g->root[fit]);
    free(eq);
    return g->rooted[fit];
}

static double product(const double *x, const double *y)
{
    double sum = 0;
    for (int k = 0; k < MODEL_SIZE; k++)
        sum += x[k] * y[k];
    return sum;
}

/* From beta by conjugate gradients, each made straight by the root (Hestenes and Stiefel 1952). */
static void solve(const regression *g, int fit, double *beta)
{
    const prior *p = prior_for(g, fit);
    const normal_root *root = &g->root[fit];
    double left[MODEL_SIZE], way[MODEL_SIZE], step[MODEL_SIZE], bent[MODEL_SIZE];
    design_gradient(g->d, beta, false, left);
    add_curve(p, beta, -1, left);
    for (int k = 0; k < MODEL_SIZE; k++)
        left[k] += p->pull[k];
    normal_solve(root, left, step);
    memcpy(way, step, sizeof way);
    double now = product(left, step);
    for (int round = 0; round < ROUNDS_MOST && now > settled; round++) {
        design_gradient(g->d, way, true, bent);
        add_curve(p, way, 1, bent);
        double by = now / product(way, bent), before = now;
        for (int k = 0; k < MODEL_SIZE; k++) {
            beta[k] += by * way[k];
            left[k] -= by * bent[k];
        }
        normal_solve(root, left, step);
        now = product(left, step);
        for (int k = 0; k < MODEL_SIZE; k++)
            way[k] = step[k] + now / before * way[k];
    }
}

enum { HALVES = HARMONICS / LANES };

/* x: the residuals of frame i less those of frame j, NaN where one lacks the harmonic; what noise
 * does to them is added to noise. False where one has fewer than two harmonics, and so no mean. */
EACH_PART bool difference_of(const design *d, float (*r)[HARMONICS], size_t i, size_t j,
                             float x[HARMONICS], lanes noise[HALVES])
{
    lanes n = {0}, other = {0}, one = 1 + (lanes){0};
    for (int k = 0, h = 0; k < HALVES; k++, h += LANES) {
        lanes var = lanes_load(d->ev->var[i] + h);
        lanes var_other = lanes_load(d->ev->var[j] + h);
        n += lanes_where(var < INFINITY, one);
        other += lanes_where(var_other < INFINITY, one);
    }
    if (lanes_sum(n)[0] < 2 || lanes_sum(other)[0] < 2)
        return false;
    for (int k = 0, h = 0; k < HALVES; k++, h += LANES) {
        lanes var = lanes_load(d->ev->var[i] + h) + lanes_load(d->ev->var[j] + h);
        lanes_store(x + h, lanes_load(r[i] + h) - lanes_load(r[j] + h));
        noise[k] += lanes_where(var < INFINITY, var);
    }
    return true;
}

EACH_PROCESSOR static bool differ(const design *d, float (*r)[HARMONICS], size_t i, size_t j,
                                  float x[HARMONICS], lanes noise[HALVES])
{
    return difference_of(d, r, i, j, x, noise);
}

/* r[ev->n]: residuals at the registers. */
static void fit_sigma(model *m, const regression *g, float (*r)[HARMONICS])
{
    const evidence *ev = g->ev;
    const design *d = g->d;
    covariance_sums c = {.whole = 0};
    lanes noise[HALVES] = {{0}};
    double floor_db2 = g->s.floor_db * g->s.floor_db;
    for (size_t i = 0; i < ev->n; i++) {
        float x[HARMONICS];
        size_t j = d->other[i];
        if (d->counts[i] > 0 && j != i && ev->edge_s[j] >= DESIGN_EDGE_S &&
            differ(d, r, i, j, x, noise))
            covariance_add(&c, x);
    }
    covariance_end(&c);
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b <= a; b++) {
            double n, sum = 0.5 * covariance_sum(&c, a, b, &n);
            n += begin_frames;
            if (a == b)
                sum +=
                    begin_frames * begin_db * begin_db - 0.5 * (double)noise[a / LANES][a % LANES];
            m->sigma[a * HARMONICS + b] = m->sigma[b * HARMONICS + a] =
                a == b ? fmax(sum / n, floor_db2) : (1 - g->s.shrink) * sum / n;
        }
    covariance_mend(m->sigma, floor_db2);
}

/* Vowels left in: the residuals at the registers. */
static void leave_vowels(regression *g, const model *m, const double *p2, float (*r)[HARMONICS])
{
    g->d->y = g->ev->y_db;
    design_unexplained(g->d, m, r);
    design_residuals(g->d, m, p2, r, g->left);
}

/* Those of a model in which they may change. */
static void take_vowels_out(regression *g, model *m, const double *p2, bool learn,
                            float (*r)[HARMONICS])
{
    if (!m->mouth.may_change)
        return;
    leave_vowels(g, m, p2, r);
    if (!g->less)
        g->less = xmalloc(g->ev->n, sizeof *g->less);
    vowels_take_out(m, learn, g->d, g->left, g->less);
    if (m->mouth.n > 0)
        g->d->y = g->less;
}

double regress_vowels(regression *g, const model *m, const double *p2, float (*r)[HARMONICS])
{
    if (!(m->hi > m->lo))
        return 0;
    leave_vowels(g, m, p2, r);
    return vowels_move(m, g->d, g->left);
}

bool regress_fit(regression *g, bool stiff, model *m, const double *p2, float (*r)[HARMONICS])
{
    bool later = m->hi > m->lo;
    vowels mouth = m->mouth;
    g->d->y = g->ev->y_db;
    if (later)
        take_vowels_out(g, m, p2, false, r);
    else
        *m = g->begin;
    m->mouth = mouth;
    bool without = g->d->y != g->ev->y_db;
    int fit = !later ? stiff ? FIRST_STIFF : FIRST : without ? LATER_WITHOUT_VOWELS : LATER;
    if (g->d->n_rows <= LEAST_ROWS || (!g->rooted[fit] && !take_root(g, fit, m, p2)))
        return false;
    design_set(g->d, p2, m->sigma);
    solve(g, fit, m->beta);
    memcpy(g->begin.beta, m->beta, sizeof m->beta);
    take_vowels_out(g, m, p2, true, r);
    design_unexplained(g->d, m, r);
    design_residuals(g->d, m, p2, r, g->left);
    fit_sigma(m, g, g->left);
    design_residuals(g->d, m, NULL, r, r);
    return true;
}

void regress_apply(const evidence *ev, const model *m, const double *p2, float (*r)[HARMONICS])
{
    regression g = {.ev = ev, .d = design_new(ev, m)};
    model copy = *m;
    if (m->mouth.n > 0) {
        g.left = xmalloc(ev->n, sizeof *g.left);
        take_vowels_out(&g, &copy, p2, false, r);
    }
    design_unexplained(g.d, m, r);
    design_residuals(g.d, m, NULL, r, r);
    design_free(g.d);
    free(g.left);
    free(g.less);
}
