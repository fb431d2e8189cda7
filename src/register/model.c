/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/model.h"

#include "register/covariance.h"

#include <gsl/gsl_math.h>
#include <math.h>
#include <string.h>

enum { STRAYS = 512 };
static const double student_df = 8;
static const float free_gain_db2 = 1e4F;
/* Formants stray: standard deviation of the frequency, in octaves, at which T is read. Those below
 * and above 1100 Hz stray apart. */
static const double stray_octaves = 0.04, low_formants_hz = 1100;

double model_step(const model *m, int h, double level_db)
{
    return m->beta[MODEL_D + h] + m->beta[MODEL_E + h] * level_db;
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

EACH_PART double sum_of(const double x[HARMONICS])
{
    double sum[4] = {0};
    for (int h = 0; h < HARMONICS; h += 4)
        for (int k = 0; k < 4; k++)
            sum[k] += x[h + k];
    return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

EACH_PROCESSOR static int residual(const model *m, const evidence *ev, size_t i, double s,
                                   const double *unexplained, double *r)
{
    double there[HARMONICS], w[HARMONICS], wr[HARMONICS];
    for (int h = 0; h < HARMONICS; h++) {
        double x = unexplained[h] - s * model_step(m, h, ev->level_db[i]);
        bool is = !isnan(x);
        r[h] = x;
        there[h] = is ? 1 : 0;
        w[h] = is ? 1 / (m->sigma[h * HARMONICS + h] + ev->var[i][h]) : 0;
        wr[h] = is ? w[h] * x : 0;
    }
    double mean = sum_of(wr) / sum_of(w);
    for (int h = 0; h < HARMONICS; h++)
        r[h] -= mean;
    return (int)sum_of(there);
}

int model_residual(const model *m, const evidence *ev, size_t i, double s,
                   const double *unexplained, double *r)
{
    return residual(m, ev, i, s, unexplained, r);
}

EACH_PROCESSOR static void explain_frame(const model *m, const evidence *ev, size_t i,
                                         double r[HARMONICS])
{
    double level = ev->level_db[i], pitch = ev->pitch_st[i] - m->pitch_mid;
    double per_warp = model_per_warp(m);
    for (int h = 0; h < HARMONICS; h++)
        r[h] = ev->y_db[i][h] - m->beta[MODEL_S + h] - m->beta[MODEL_A + h] * level -
               m->beta[MODEL_C + h] * pitch - tract_at(m, per_warp, (double)ev->warp[i][h]);
}

void model_unexplained(const model *m, const evidence *ev, double (*r)[HARMONICS])
{
    for (size_t i = 0; i < ev->n; i++)
        explain_frame(m, ev, i, r[i]);
}

void model_residuals(const model *m, const evidence *ev, double (*r)[HARMONICS])
{
    model_unexplained(m, ev, r);
    for (size_t i = 0; i < ev->n; i++)
        model_residual(m, ev, i, 0, r[i], r[i]);
}

double model_expected_step(int h)
{
    return h ? -log2(0.5 * (h + 1)) : 4;
}

/* What a stray of the formants does along T's axis, dB: T's slope for either group. */
typedef struct stray {
    float low[STRAYS + 1], high[STRAYS + 1];
} stray;

static stray stray_of(const model *m)
{
    stray s;
    static const double near = 1.03;
    double span = log2(near);
    for (int k = 0; k <= STRAYS; k++) {
        double hz = 300 * (exp2(m->lo + (m->hi - m->lo) * k / STRAYS) - 1);
        double slope = (model_tract(m, hz * near) - model_tract(m, hz / near)) / (2 * span);
        double share = 1 / (1 + gsl_pow_8(hz / low_formants_hz));
        s.low[k] = (float)(stray_octaves * slope * share);
        s.high[k] = (float)(stray_octaves * slope * (1 - share));
    }
    return s;
}

typedef struct group {  /* a frame a lane */
    covariance_group f; /* the residual and the step from M1 to M2 */
    lanes var[HARMONICS], low[HARMONICS], high[HARMONICS];
} group;

static void put_in(group *g, size_t lane, const model *m, const evidence *ev, size_t i,
                   const double r[HARMONICS], const stray *s)
{
    double scale = STRAYS / (m->hi - m->lo), last = STRAYS - 1e-9;
    for (int h = 0; h < HARMONICS; h++) {
        bool there = !isnan(r[h]);
        double at = ((double)ev->warp[i][h] - m->lo) * scale;
        at = at < 0 ? 0 : at > last ? last : at;
        int k = (int)at;
        float part = (float)(at - k);
        g->f.there[h][lane] = there;
        g->f.v[h][lane] = there ? (float)r[h] : 0;
        g->f.w[h][lane] = there ? (float)model_step(m, h, ev->level_db[i]) : 0;
        g->var[h][lane] = there ? (float)ev->var[i][h] : 0;
        g->low[h][lane] = there ? s->low[k] + part * (s->low[k + 1] - s->low[k]) : 0;
        g->high[h][lane] = there ? s->high[k] + part * (s->high[k + 1] - s->high[k]) : 0;
    }
}

EACH_PROCESSOR static void fill(group *g, const double *sigma)
{
    for (int a = 0; a < HARMONICS; a++) {
        for (int b = 0; b <= a; b++)
            g->f.c[a][b] = g->f.there[a] * g->f.there[b] * (float)sigma[a * HARMONICS + b] +
                           g->low[a] * g->low[b] + g->high[a] * g->high[b];
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

void model_emissions(const model *m, const evidence *ev, double (*r)[HARMONICS], saying *out)
{
    stray s = stray_of(m);
    group g;
    covariance_products p;
    for (size_t i = 0; i < ev->n; i += LANES) {
        lanes n = {0};
        for (size_t k = 0; k < LANES; k++) {
            size_t j = i + k < ev->n ? i + k : i;
            put_in(&g, k, m, ev, j, r[j], &s);
        }
        for (int h = 0; h < HARMONICS; h++)
            n += g.f.there[h];
        fill(&g, m->sigma);
        covariance_weigh(&g.f, free_gain_db2, &p);
        for (size_t k = 0; k < LANES && i + k < ev->n; k++)
            out[i + k] = saying_of((double)p.vw[k], (double)p.ww[k], (double)p.vv[k], (double)n[k]);
    }
}
