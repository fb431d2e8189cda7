/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/model.h"

#include "register/covariance.h"

#include <gsl/gsl_math.h>
#include <math.h>
#include <string.h>

enum { STRAYS = 256 };
static const double student_df = 8;
static const float free_gain_db2 = 1e4F;
static const float not_there_db2 = 1e9F; /* the variance of a harmonic that a frame lacks */
/* Formants stray: standard deviation of the frequency, in octaves, at which T is read. Those below
 * and above 1100 Hz stray apart. */
static const double stray_octaves = 0.04, low_formants_hz = 1100;

double model_step(const model *m, int h, double level_db)
{
    return m->beta[MODEL_D + h] + m->beta[MODEL_E + h] * level_db;
}

void model_step_floats(const model *m, float fixed[HARMONICS], float per_db[HARMONICS])
{
    for (int h = 0; h < HARMONICS; h++) {
        fixed[h] = (float)m->beta[MODEL_D + h];
        per_db[h] = (float)m->beta[MODEL_E + h];
    }
}

EACH_PART double tract_at(const model *m, double per_warp, double warp)
{
    fours w, beta;
    memcpy(&beta, m->beta + model_splines(m, per_warp, warp, &w), sizeof beta);
    w *= beta;
    return (w[0] + w[1]) + (w[2] + w[3]);
}

double model_tract(const model *m, double hz)
{
    return tract_at(m, model_per_warp(m), evidence_warp(hz));
}

double model_expected_step(int h)
{
    return h ? -log2(0.5 * (h + 1)) : 4;
}

/* What a stray of the formants does along T's axis, dB: T's slope for either group. */
typedef struct stray {
    struct {
        float low, low_on, high, high_on; /* on: what the next has more */
    } at[STRAYS + 1];
} stray;

typedef struct emitter { /* a model as floats */
    const model *m;
    stray s;
    float sigma[HARMONICS * HARMONICS], fixed[HARMONICS], per_db[HARMONICS]; /* model_step() */
} emitter;

static stray stray_of(const model *m)
{
    stray s = {.at = {{0}}};
    static const double near = 1.03;
    double span = log2(near), per_warp = model_per_warp(m);
    double beyond = exp2(m->lo), ratio = exp2((m->hi - m->lo) / STRAYS); /* 1 + f / 300 Hz */
    for (int k = 0; k <= STRAYS; k++, beyond *= ratio) {
        double x = beyond - 1;
        double above = tract_at(m, per_warp, (double)log2f((float)(1 + x * near)));
        double below = tract_at(m, per_warp, (double)log2f((float)(1 + x / near)));
        double slope = (above - below) / (2 * span);
        double share = 1 / (1 + gsl_pow_8(300 * x / low_formants_hz));
        s.at[k].low = (float)(stray_octaves * slope * share);
        s.at[k].high = (float)(stray_octaves * slope * (1 - share));
    }
    for (int k = 0; k < STRAYS; k++) {
        s.at[k].low_on = s.at[k + 1].low - s.at[k].low;
        s.at[k].high_on = s.at[k + 1].high - s.at[k].high;
    }
    return s;
}

typedef struct group {  /* a frame a lane */
    covariance_group f; /* the residual and the step from M1 to M2 */
    lanes var[HARMONICS], low[HARMONICS], high[HARMONICS];
} group;

/* What a stray does at LANES harmonics. */
EACH_PART void stray_at(const stray *s, const model *m, const float *warp, lanes *low, lanes *high)
{
    const float scale = (float)(STRAYS / (m->hi - m->lo)), last = STRAYS - 0.001F;
    lanes at = (lanes_load(warp) - (float)m->lo) * scale, entries[4];
    at = lanes_where(at > 0, at);
    at = last + lanes_where(at < last, at - last);
    lane_bits first = __builtin_convertvector(at, lane_bits);
    lanes part = at - __builtin_convertvector(first, lanes);
    for (int k = 0; k < 4; k++) {
        four_floats one, other;
        memcpy(&one, &s->at[first[k]], sizeof one);
        memcpy(&other, &s->at[first[k + 4]], sizeof other);
        entries[k] = __builtin_shufflevector(one, other, 0, 1, 2, 3, 4, 5, 6, 7);
    }
    lanes_transpose_halves(entries);
    *low = entries[0] + part * entries[1];
    *high = entries[2] + part * entries[3];
}

/* LANES harmonics from h on of as many frames from the first on; beyond the last that one again. */
EACH_PART void put_half(group *g, const emitter *s, const evidence *ev, size_t first, int h,
                        float (*r)[HARMONICS])
{
    lanes level_db = {0};
    for (size_t k = 0; k < LANES; k++) {
        size_t i = first + k < ev->n ? first + k : ev->n - 1, at = (size_t)h + k;
        level_db[k] = (float)ev->level_db[i];
        g->f.v[at] = lanes_load(r[i] + h);
        g->var[at] = lanes_load(ev->var[i] + h);
        stray_at(&s->s, s->m, ev->warp[i] + h, &g->low[at], &g->high[at]);
    }
    lanes *const all[] = {g->f.v, g->var, g->low, g->high};
    for (size_t k = 0; k < sizeof all / sizeof *all; k++)
        lanes_transpose(all[k] + h);
    for (int k = h; k < h + LANES; k++) {
        lane_bits is = g->f.v[k] < INFINITY;
        g->f.there[k] = lanes_where(is, 1 + (lanes){0});
        g->f.v[k] = lanes_where(is, g->f.v[k]);
        g->f.w[k] = lanes_where(is, s->fixed[k] + s->per_db[k] * level_db);
        g->var[k] = lanes_choose(is, g->var[k], not_there_db2 + (lanes){0});
    }
}

EACH_PROCESSOR static void put_residuals(group *g, const emitter *s, const evidence *ev,
                                         size_t first, int h, float (*r)[HARMONICS])
{
    put_half(g, s, ev, first, h, r);
}

EACH_PROCESSOR static void fill(group *g, const float *sigma)
{
    for (int a = 0; a < HARMONICS; a++) {
        for (int b = 0; b <= a; b++)
            g->f.c[a][b] =
                sigma[a * HARMONICS + b] + g->low[a] * g->low[b] + g->high[a] * g->high[b];
        g->f.c[a][a] += g->var[a];
    }
}

static saying saying_of(double z, double mass, double whole, double n)
{
    if (n < 2)
        return (saying){0, 0, 0};
    double off = whole - (mass > 0 ? z * z / mass : 0);
    return (saying){z, mass, (student_df + n - 1) / (student_df + fmax(0, off))};
}

void model_emissions(const model *m, const evidence *ev, float (*r)[HARMONICS], saying *out)
{
    emitter s = {.m = m, .s = stray_of(m)};
    group g;
    covariance_root root;
    covariance_products p;
    for (int k = 0; k < HARMONICS * HARMONICS; k++)
        s.sigma[k] = (float)m->sigma[k];
    model_step_floats(m, s.fixed, s.per_db);
    for (size_t i = 0; i < ev->n; i += LANES) {
        lanes n = {0};
        for (int h = 0; h < HARMONICS; h += LANES)
            put_residuals(&g, &s, ev, i, h, r);
        for (int h = 0; h < HARMONICS; h++)
            n += g.f.there[h];
        fill(&g, s.sigma);
        covariance_factor(&g.f, &root);
        covariance_weigh(&g.f, &root, free_gain_db2, &p);
        for (size_t k = 0; k < LANES && i + k < ev->n; k++)
            out[i + k] = saying_of((double)p.vw[k], (double)p.ww[k], (double)p.vv[k], (double)n[k]);
    }
}
