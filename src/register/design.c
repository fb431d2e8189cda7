/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/design.h"

#include "base/array.h"
#include "register/covariance.h"
#include "register/powers.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { HALVES = HARMONICS / LANES };
enum { REACH = 32 };                 /* frames, more than from a row's frame to the one before it */
static const float no_doubt = 1e-3F; /* about the register: a millionth of its square */

EACH_PART void set_frame(design *d, const model *m, float per_warp, size_t i)
{
    const evidence *ev = d->ev;
    const float lo = (float)m->lo, last = MODEL_SPLINES - 3 - 1e-5F;
    for (int h = 0; h < HARMONICS; h += LANES) {
        lanes u = (lanes_load(ev->warp[i] + h) - lo) * per_warp;
        u = lanes_where(u > 0, u);
        u = last + lanes_where(u < last, u - last);
        lane_bits first = __builtin_convertvector(u, lane_bits);
        lane_shorts by_four = __builtin_convertvector(4 * first, lane_shorts);
        memcpy(d->first[i] + h, &by_four, sizeof by_four);
        lanes_store(d->beyond[i] + h, u - __builtin_convertvector(first, lanes));
    }
    d->level[i] = (float)ev->level_db[i];
    d->pitch[i] = (float)(ev->pitch_st[i] - m->pitch_mid);
}

EACH_PROCESSOR static void set_frames(design *d, const model *m, float per_warp)
{
    for (size_t i = 0; i < d->ev->n; i++)
        set_frame(d, m, per_warp, i);
}

static void set_row(design *d, size_t i, double rho, size_t stride)
{
    bool row = i % stride == 0 && d->ev->edge_s[i] >= DESIGN_EDGE_S;
    bool pair = d->ev->before[i] != EVIDENCE_NONE;
    d->other[i] = pair ? d->ev->before[i] : i;
    d->rho[i] = pair ? (float)rho : 0;
    assert(i - d->other[i] < REACH);
    d->counts[i] = !row ? 0 : pair ? 1 : (float)(1 - rho * rho);
    d->n_rows += row;
    if (row)
        d->enters[i] = d->enters[d->other[i]] = true;
}

design *design_new(const evidence *ev, const model *m)
{
    design *d = xcalloc(1, sizeof *d);
    size_t n = ev->n;
    *d = (design){.ev = ev,
                  .beyond = xmalloc(n, sizeof *d->beyond),
                  .first = xmalloc(n, sizeof *d->first),
                  .y = ev->y_db,
                  .level = xmalloc(n, sizeof *d->level),
                  .pitch = xmalloc(n, sizeof *d->pitch)};
    set_frames(d, m, (float)model_per_warp(m));
    return d;
}

void design_rows(design *d, double rho, size_t stride)
{
    size_t n = d->ev->n;
    d->other = xmalloc(n, sizeof *d->other);
    d->rho = xmalloc(n, sizeof *d->rho);
    d->counts = xmalloc(n, sizeof *d->counts);
    d->enters = xcalloc(n, sizeof *d->enters);
    d->s = xmalloc(n, sizeof *d->s);
    d->sd = xmalloc(n, sizeof *d->sd);
    d->w = xmalloc(n, sizeof *d->w);
    d->over = xmalloc(n, sizeof *d->over);
    for (size_t i = 0; i < n; i++)
        set_row(d, i, rho, stride);
}

void design_free(design *d)
{
    if (!d)
        return;
    void *const all[] = {d->beyond, d->first,  d->level, d->pitch, d->other, d->rho,
                         d->counts, d->enters, d->s,     d->sd,    d->w,     d->over};
    for (size_t k = 0; k < sizeof all / sizeof *all; k++)
        free(all[k]);
    free(d);
}

EACH_PART void weigh_all(design *d, const float *sigma)
{
    for (size_t i = 0; i < d->ev->n; i++) {
        float share = d->rho[i] * d->rho[i];
        lanes sum = {0};
        for (int h = 0; h < HARMONICS; h += LANES) {
            lanes var = lanes_load(sigma + h) + lanes_load(d->ev->var[i] + h);
            if (share > 0)
                var += share * lanes_load(d->ev->var[d->other[i]] + h);
            lanes w = lanes_where(var < INFINITY, d->counts[i] / var);
            lanes_store(d->w[i] + h, w);
            sum += w;
        }
        sum = lanes_sum(sum);
        d->over[i] = sum[0] > 0 ? 1 / sum[0] : 0;
    }
}

EACH_PROCESSOR static void weigh_rows(design *d, const float *sigma)
{
    weigh_all(d, sigma);
}

void design_set(design *d, const double *p2, const double *sigma)
{
    float var[HARMONICS];
    covariance_diagonal(sigma, var);
    for (size_t i = 0; i < d->ev->n; i++) {
        float s = (float)(p2[i] - 0.5), rest = 0.25F - s * s;
        d->s[i] = s;
        d->sd[i] = sqrtf(rest > 0 ? rest : 0);
    }
    weigh_rows(d, var);
}

/* T at LANES harmonics from h on. */
EACH_PART lanes tract(const design *d, size_t i, const powers *t, int h)
{
    const unsigned short *first = d->first[i] + h;
    lanes x = lanes_load(d->beyond[i] + h), p[4];
    for (int k = 0; k < 4; k++) {
        four_floats low, high;
        memcpy(&low, *t->of + first[k], sizeof low);
        memcpy(&high, *t->of + first[k + 4], sizeof high);
        p[k] = __builtin_shufflevector(low, high, 0, 1, 2, 3, 4, 5, 6, 7);
    }
    lanes_transpose_halves(p);
    return p[0] + x * (p[1] + x * (p[2] + x * p[3]));
}

/* What the coefficients make of frame i at s. */
EACH_PART void predict_one(const design *d, const float *beta, const powers *t, size_t i, float s,
                           float u[HARMONICS])
{
    float level = d->level[i], pitch = d->pitch[i];
    for (int h = 0; h < HARMONICS; h += LANES) {
        lanes steady = tract(d, i, t, h) + lanes_load(beta + MODEL_S + h);
        lanes slopes =
            level * lanes_load(beta + MODEL_A + h) + pitch * lanes_load(beta + MODEL_C + h);
        lanes step = lanes_load(beta + MODEL_D + h) + level * lanes_load(beta + MODEL_E + h);
        lanes_store(u + h, steady + slopes + s * step);
    }
}

typedef struct leaving {   /* of a frame that enters */
    float e[HARMONICS];    /* what a vector of coefficients leaves of it, or makes of it */
    float back[HARMONICS]; /* what later rows leave for it */
} leaving;

/* With `alone` what beta makes of frame i. */
EACH_PART void leave(const design *d, const float *beta, const powers *t, size_t i, bool alone,
                     leaving *to)
{
    predict_one(d, beta, t, i, d->s[i], to->e);
    for (int h = 0; h < HARMONICS; h += LANES) {
        lanes e = lanes_load(to->e + h), y = lanes_load(d->y[i] + h);
        lanes_store(to->e + h, alone ? e : lanes_where(y < INFINITY, y - e));
        lanes_store(to->back + h, (lanes){0});
    }
}

/* w (x - mean), the mean weighted by w. */
EACH_PART void centre(const design *d, size_t i, lanes x[HALVES])
{
    lanes w[HALVES], sum = {0};
    for (int k = 0; k < HALVES; k++) {
        w[k] = lanes_load(d->w[i] + k * LANES);
        x[k] *= w[k];
        sum += x[k];
    }
    lanes mean = lanes_sum(sum) * d->over[i];
    for (int k = 0; k < HALVES; k++)
        x[k] -= w[k] * mean;
}

typedef struct sums { /* of what goes back to S, D, a, e, c */
    lanes part[5][HALVES];
} sums;

enum { S, D, A, E, C };

/* g of frame i; t: to T. */
EACH_PART void give_back(const design *d, size_t i, const lanes g[HALVES], sums *out, powers *t)
{
    float s = d->s[i], level = d->level[i], pitch = d->pitch[i];
    for (int k = 0; k < HALVES; k++) {
        const unsigned short *first = d->first[i] + k * LANES;
        lanes by_s = s * g[k], x = lanes_load(d->beyond[i] + k * LANES), p[4] = {g[k]};
        out->part[S][k] += g[k];
        out->part[D][k] += by_s;
        out->part[A][k] += level * g[k];
        out->part[E][k] += level * by_s;
        out->part[C][k] += pitch * g[k];
        for (int j = 1; j < 4; j++)
            p[j] = p[j - 1] * x;
        lanes_transpose_halves(p);
        for (int j = 0; j < 4; j++) {
            floats_add_four(*t->of + first[j], __builtin_shufflevector(p[j], p[j], 0, 1, 2, 3));
            floats_add_four(*t->of + first[j + 4], __builtin_shufflevector(p[j], p[j], 4, 5, 6, 7));
        }
    }
}

/* What the doubt about the register adds to D and E; sign: that of e. */
EACH_PART void doubt(const design *d, const float *beta, size_t i, float sign, sums *out)
{
    size_t j = d->other[i];
    float sd = d->sd[i] - d->rho[i] * d->sd[j], x = sign * sd;
    float sd_level = d->sd[i] * d->level[i] - d->rho[i] * d->sd[j] * d->level[j];
    float x_level = sign * sd_level;
    lanes e[HALVES];
    if (fabsf(sd) < no_doubt && fabsf(sd_level) < no_doubt)
        return;
    for (int k = 0, h = 0; k < HALVES; k++, h += LANES)
        e[k] = x * lanes_load(beta + MODEL_D + h) + x_level * lanes_load(beta + MODEL_E + h);
    centre(d, i, e);
    for (int k = 0; k < HALVES; k++) {
        out->part[D][k] += sd * e[k];
        out->part[E][k] += sd_level * e[k];
    }
}

/* From the last frame on, so that what later rows leave for a frame is there when it comes. */
EACH_PART void gather_all(const design *d, const float *beta, const powers *tract, bool alone,
                          sums *to, powers *t)
{
    leaving near[REACH];
    sums out = {{{{0}}}};
    for (size_t i = d->ev->n, left = i; i-- > 0;) {
        if (!d->enters[i])
            continue;
        while (left > d->other[i])
            if (d->enters[--left])
                leave(d, beta, tract, left, alone, &near[left % REACH]);
        const leaving *own = &near[i % REACH];
        leaving *other = &near[d->other[i] % REACH];
        lanes g[HALVES] = {lanes_load(own->back), lanes_load(own->back + LANES)}, e[HALVES];
        float rho = d->rho[i];
        if (d->over[i] > 0) {
            for (int k = 0, h = 0; k < HALVES; k++, h += LANES)
                e[k] = lanes_load(own->e + h) - rho * lanes_load(other->e + h);
            centre(d, i, e);
            for (int k = 0, h = 0; k < HALVES; k++, h += LANES) {
                lanes_store(other->back + h, lanes_load(other->back + h) - rho * e[k]);
                g[k] += e[k];
            }
            doubt(d, beta, i, alone ? 1 : -1, &out);
        }
        give_back(d, i, g, &out, t);
    }
    *to = out;
}

EACH_PROCESSOR static void gather(const design *d, const float *beta, const powers *tract,
                                  bool alone, sums *to, powers *t)
{
    gather_all(d, beta, tract, alone, to, t);
}

static void to_floats(const double *beta, float b[MODEL_SIZE])
{
    for (int k = 0; k < MODEL_SIZE; k++)
        b[k] = (float)beta[k];
}

void design_gradient(const design *d, const double *beta, bool alone, double *g)
{
    float b[MODEL_SIZE];
    powers t = {{{0}}};
    sums out;
    to_floats(beta, b);
    powers tract = powers_of_splines(b);
    gather(d, b, &tract, alone, &out, &t);
    powers_to_splines(&t, g);
    for (int q = 0; q < 5; q++)
        for (int h = 0; h < HARMONICS; h++)
            g[MODEL_SPLINES + q * HARMONICS + h] = (double)out.part[q][h / LANES][h % LANES];
}

EACH_PART void explain_all(const design *d, const float *beta, const powers *t,
                           float (*left)[HARMONICS])
{
    for (size_t i = 0; i < d->ev->n; i++) {
        float u[HARMONICS];
        predict_one(d, beta, t, i, 0, u);
        for (int h = 0; h < HARMONICS; h += LANES) {
            lanes x = lanes_load(d->y[i] + h) - lanes_load(u + h);
            lanes_store(left[i] + h, lanes_where(x < INFINITY, x));
        }
    }
}

EACH_PROCESSOR static void explain(const design *d, const float *beta, const powers *t,
                                   float (*left)[HARMONICS])
{
    explain_all(d, beta, t, left);
}

void design_unexplained(design *d, const model *m, float (*left)[HARMONICS])
{
    float b[MODEL_SIZE];
    to_floats(m->beta, b);
    powers tract = powers_of_splines(b);
    explain(d, b, &tract, left);
}

EACH_PART void residual_of(const design *d, const float *beta, const float *sigma, size_t i,
                           float s, const float *left, float *r)
{
    lanes x[HALVES], w[HALVES];
    for (int k = 0, h = 0; k < HALVES; k++, h += LANES) {
        lanes step = lanes_load(beta + MODEL_D + h) + d->level[i] * lanes_load(beta + MODEL_E + h);
        x[k] = lanes_load(left + h) - s * step;
        lanes var = lanes_load(sigma + h) + lanes_load(d->ev->var[i] + h);
        w[k] = lanes_where(var < INFINITY, 1 / var);
    }
    lanes mean = lanes_sum(w[0] * x[0] + w[1] * x[1]) / lanes_sum(w[0] + w[1]);
    for (int k = 0, h = 0; k < HALVES; k++, h += LANES) {
        lane_bits there = lanes_load(d->ev->var[i] + h) < INFINITY;
        lanes_store(r + h, (lanes)((lane_bits)(x[k] - mean) | ~there));
    }
}

EACH_PROCESSOR static void residual(const design *d, const float *beta, const float *sigma,
                                    size_t i, float s, const float *left, float *r)
{
    residual_of(d, beta, sigma, i, s, left, r);
}

void design_residuals(const design *d, const model *m, const double *opt_p2,
                      float (*left)[HARMONICS], float (*r)[HARMONICS])
{
    float beta[MODEL_SIZE], sigma[HARMONICS];
    to_floats(m->beta, beta);
    covariance_diagonal(m->sigma, sigma);
    for (size_t i = 0; i < d->ev->n; i++)
        residual(d, beta, sigma, i, opt_p2 ? (float)(opt_p2[i] - 0.5) : 0, left[i], r[i]);
}
