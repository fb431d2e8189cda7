/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/regress.h"

#include "base/array.h"
#include "register/covariance.h"
#include "register/normal.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { FRAMES_MOST = 8000 }; /* more frames tell no more of some 150 numbers */
static const double edge_s = 0.020;
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
                              .shrink = 0.25,
                              .floor_db = 1};
}

/* Adds frame i less `ar` times the frame 100 ms before it: what drifts slowly is all but gone
 * from the difference, a step is not. */
static void add_frame(normal *eq, const model *m, const evidence *ev, size_t i, const double *p2,
                      double ar)
{
    size_t j = ev->before[i];
    bool pair = j != EVIDENCE_NONE;
    normal_frame f = {.frame = i, .other = i, .s = p2[i] - 0.5, .counts = 1 - ar * ar};
    f.sd = sqrt(fmax(0, 0.25 - f.s * f.s));
    if (pair) {
        f.other = j;
        f.rho = ar;
        f.s_other = p2[j] - 0.5;
        f.sd_other = sqrt(fmax(0, 0.25 - f.s_other * f.s_other));
        f.counts = 1;
    }
    normal_add(eq, m, ev, &f);
}

static void add_ridge(normal *eq, int first, int n, double weight)
{
    for (int k = normal_place(first), end = k + n; k < end; k++)
        eq->a[k][k] += weight;
}

/* Squared second differences of n coefficients from `first`. */
static void add_smooth(normal *eq, int first, int n, double weight)
{
    static const double d[3] = {1, -2, 1};
    for (int k = normal_place(first), end = k + n; k + 2 < end; k++)
        for (int p = 0; p < 3; p++)
            for (int q = 0; q < 3; q++)
                eq->a[k + p][k + q] += weight * d[p] * d[q];
}

static void add_priors(normal *eq, const regress_settings *s)
{
    add_smooth(eq, 0, MODEL_SPLINES, s->smooth_t);
    add_ridge(eq, 0, MODEL_SPLINES, 1e-4);
    add_ridge(eq, MODEL_S, HARMONICS, s->ridge_s);
    add_ridge(eq, MODEL_D, HARMONICS, s->ridge_d);
    for (int h = 0; h < HARMONICS; h++)
        eq->b[normal_place(MODEL_D + h)] += s->ridge_d * model_expected_step(h);
    add_smooth(eq, MODEL_D + 1, HARMONICS - 1, s->smooth_d);
    add_ridge(eq, MODEL_A, HARMONICS, s->ridge_a);
    add_smooth(eq, MODEL_A, HARMONICS, s->ridge_a);
    add_ridge(eq, MODEL_E, HARMONICS, s->ridge_e);
    add_smooth(eq, MODEL_E, HARMONICS, s->ridge_e);
    add_ridge(eq, MODEL_C, HARMONICS, s->ridge_c);
    add_smooth(eq, MODEL_C, HARMONICS, s->ridge_c);
}

static bool usable(const evidence *ev, size_t i)
{
    return ev->edge_s[i] >= edge_s;
}

static void fit_sigma(model *m, const evidence *ev, const double *p2, const regress_settings *s,
                      size_t stride, double (*unexplained)[HARMONICS])
{
    covariance_sums c = {.whole = 0};
    double noise[HARMONICS] = {0}, floor_db2 = s->floor_db * s->floor_db;
    for (size_t i = 0; i < ev->n; i += stride) {
        double r[HARMONICS], q[HARMONICS];
        size_t j = ev->before[i];
        if (!usable(ev, i) || j == EVIDENCE_NONE || !usable(ev, j))
            continue;
        if (model_residual(m, ev, i, p2[i] - 0.5, unexplained[i], r) < 2 ||
            model_residual(m, ev, j, p2[j] - 0.5, unexplained[j], q) < 2)
            continue;
        for (int h = 0; h < HARMONICS; h++) {
            r[h] -= q[h];
            noise[h] += isnan(r[h]) ? 0 : ev->var[i][h] + ev->var[j][h];
        }
        covariance_add(&c, r);
    }
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b <= a; b++) {
            double n = c.whole + c.n[a][b] + begin_frames, sum = 0.5 * c.of[a][b];
            if (a == b)
                sum += begin_frames * begin_db * begin_db - 0.5 * noise[a];
            m->sigma[a * HARMONICS + b] = m->sigma[b * HARMONICS + a] =
                a == b ? fmax(sum / n, floor_db2) : (1 - s->shrink) * sum / n;
        }
    covariance_mend(m->sigma, floor_db2);
}

static void set_ranges(model *m, const evidence *ev)
{
    double lo = (double)INFINITY, hi = 0, sum = 0;
    for (size_t i = 0; i < ev->n; i++) {
        double hz = ev->hz[i];
        lo = fmin(lo, evidence_warp(hz));
        for (int h = 0; h < HARMONICS; h++)
            if (!isnan(ev->y_db[i][h]))
                hi = fmax(hi, evidence_warp((h + 1) * hz));
        sum += ev->pitch_st[i];
    }
    m->lo = lo;
    m->hi = fmax(hi, lo + 0.1);
    m->pitch_mid = sum / (double)ev->n;
}

bool regress_fit(model *m, const evidence *ev, const double *p2, const regress_settings *s,
                 double (*r)[HARMONICS])
{
    if (m->hi <= m->lo) {
        set_ranges(m, ev);
        memset(m->sigma, 0, sizeof m->sigma);
        for (int h = 0; h < HARMONICS; h++)
            m->sigma[h * HARMONICS + h] = begin_db * begin_db;
    }
    size_t stride = (ev->hop_s < 0.01 ? 2 : 1) + ev->n / FRAMES_MOST, used = 0;
    normal *eq = xcalloc(1, sizeof *eq);
    add_priors(eq, s);
    for (size_t i = 0; i < ev->n; i += stride)
        if (usable(ev, i)) {
            add_frame(eq, m, ev, i, p2, s->rho);
            used++;
        }
    bool good = used > 20 && normal_solve(eq, m->beta);
    free(eq);
    if (!good)
        return false;
    model_unexplained(m, ev, r);
    fit_sigma(m, ev, p2, s, stride, r);
    for (size_t i = 0; i < ev->n; i++)
        model_residual(m, ev, i, 0, r[i], r[i]);
    return true;
}
