/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/model.h"

#include "base/note.h"
#include "register/covariance.h"

#include <gsl/gsl_math.h>
#include <math.h>

static const double student_df = 8;
static const double free_gain_db2 = 1e4;
/* Formants stray: standard deviation of the frequency, in octaves, at which T is read. Those below
 * and above 1100 Hz stray apart. */
static const double stray_octaves = 0.04, low_formants_hz = 1100;

double model_warp(double hz)
{
    return log2(1 + hz / 300);
}

static int splines(const model *m, double hz, double w[4])
{
    double u = (model_warp(hz) - m->lo) / (m->hi - m->lo) * (MODEL_SPLINES - 3);
    u = fmin(fmax(u, 0), MODEL_SPLINES - 3 - 1e-9);
    int first = (int)u;
    double x = u - first, y = 1 - x;
    w[0] = y * y * y / 6;
    w[1] = (3 * x * x * x - 6 * x * x + 4) / 6;
    w[2] = (3 * y * y * y - 6 * y * y + 4) / 6;
    w[3] = x * x * x / 6;
    return first;
}

model_row model_row_of(const model *m, const evidence *ev, size_t i, int h)
{
    model_row r = {.h = h, .level = ev->level_db[i], .pitch = ev->pitch_st[i] - m->pitch_mid};
    r.first = splines(m, (h + 1) * ev->hz[i], r.w);
    return r;
}

double model_common(const model *m, const model_row *r)
{
    double y = 0;
    for (int k = 0; k < 4; k++)
        y += r->w[k] * m->beta[r->first + k];
    return y + m->beta[MODEL_S + r->h] + m->beta[MODEL_A + r->h] * r->level +
           m->beta[MODEL_C + r->h] * r->pitch;
}

double model_step(const model *m, int h, double level_db)
{
    return m->beta[MODEL_D + h] + m->beta[MODEL_E + h] * level_db;
}

int model_residual(const model *m, const evidence *ev, size_t i, double s, double r[HARMONICS])
{
    double sum = 0, weight = 0;
    int n = 0;
    for (int h = 0; h < HARMONICS; h++) {
        r[h] = (double)NAN;
        if (isnan(ev->y_db[i][h]))
            continue;
        model_row x = model_row_of(m, ev, i, h);
        double w = 1 / (m->sigma[h * HARMONICS + h] + ev->var[i][h]);
        r[h] = ev->y_db[i][h] - model_common(m, &x) - s * model_step(m, h, x.level);
        sum += w * r[h];
        weight += w;
        n++;
    }
    for (int h = 0; h < HARMONICS && n; h++)
        r[h] -= sum / weight;
    return n;
}

double model_expected_step(int h)
{
    return h ? -log2(0.5 * (h + 1)) : 4;
}

double model_tract(const model *m, double hz)
{
    double w[4], y = 0;
    int first = splines(m, hz, w);
    for (int k = 0; k < 4; k++)
        y += w[k] * m->beta[first + k];
    return y;
}

/* Adds to c what a stray of the formants does: an outer product of T's slope for each group. */
static void add_stray(const model *m, const double *hz, int n, double *c)
{
    double low[HARMONICS], high[HARMONICS];
    static const double near = 1.03;
    for (int a = 0; a < n; a++) {
        double slope =
            (model_tract(m, hz[a] * near) - model_tract(m, hz[a] / near)) / (2 * log2(near));
        double share = 1 / (1 + gsl_pow_8(hz[a] / low_formants_hz));
        low[a] = stray_octaves * slope * share;
        high[a] = stray_octaves * slope * (1 - share);
    }
    for (int a = 0; a < n; a++)
        for (int b = 0; b < n; b++)
            c[a * n + b] += low[a] * low[b] + high[a] * high[b];
}

static saying frame_says(const model *m, const evidence *ev, size_t i)
{
    double c[HARMONICS * HARMONICS], r[HARMONICS], d[HARMONICS], hz[HARMONICS];
    int used[HARMONICS], n = 0;
    for (int h = 0; h < HARMONICS; h++)
        if (!isnan(ev->y_db[i][h]))
            used[n++] = h;
    if (n < 2)
        return (saying){0, 0, 0};
    for (int a = 0; a < n; a++) {
        model_row x = model_row_of(m, ev, i, used[a]);
        r[a] = ev->y_db[i][used[a]] - model_common(m, &x);
        d[a] = model_step(m, used[a], x.level);
        hz[a] = (used[a] + 1) * ev->hz[i];
        for (int b = 0; b < n; b++)
            c[a * n + b] = m->sigma[used[a] * HARMONICS + used[b]] + free_gain_db2;
        c[a * n + a] += ev->var[i][used[a]];
    }
    add_stray(m, hz, n, c);
    if (!covariance_factor(c, n))
        return (saying){0, 0, 0};
    covariance_whiten(c, n, r);
    covariance_whiten(c, n, d);
    double z = covariance_dot(r, d, n), mass = covariance_dot(d, d, n);
    double off = covariance_dot(r, r, n) - (mass > 0 ? z * z / mass : 0);
    return (saying){z, mass, (student_df + n - 1) / (student_df + fmax(0, off))};
}

void model_emissions(const model *m, const evidence *ev, saying *out)
{
    for (size_t i = 0; i < ev->n; i++)
        out[i] = frame_says(m, ev, i);
}
