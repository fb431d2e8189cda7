/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/normal.h"

#include "base/lanes.h"
#include "register/covariance.h"

#include <math.h>
#include <string.h>

enum { D = 1, E = 3, T = NORMAL_PARTS * HARMONICS }; /* the parts that the register multiplies */

/* y[0..3] += by */
EACH_PART void add_four(double *y, fours by)
{
    fours sum;
    memcpy(&sum, y, sizeof sum);
    sum += by;
    memcpy(y, &sum, sizeof sum);
}

typedef struct row { /* one harmonic of what enters */
    int h;
    double w;
    const double *parts; /* what multiplies S, D, a, e, c */
} row;

/* Four of T's splines with each other and with all else but those of the other frame. */
EACH_PART void add_splines(normal *eq, const row *r, int first, fours v, double *mean)
{
    fours weighed = r->w * v;
    for (int k = 0; k < 4; k++)
        add_four(&eq->a[T + first + k][T + first], weighed[k] * v);
    for (int q = 0; q < NORMAL_PARTS; q++)
        add_four(&eq->a[q * HARMONICS + r->h][T + first], r->parts[q] * weighed);
    add_four(mean + T + first, weighed);
}

/* Both frames' splines, which often are the same four. */
EACH_PART void add_tract(normal *eq, const row *r, int now, fours v, int other, fours o,
                         double *mean)
{
    if (now == other) {
        add_splines(eq, r, now, v + o, mean);
        return;
    }
    add_splines(eq, r, now, v, mean);
    add_splines(eq, r, other, o, mean);
    for (int k = 0; k < 4; k++) {
        add_four(&eq->a[T + now + k][T + other], r->w * v[k] * o);
        add_four(&eq->a[T + other + k][T + now], r->w * o[k] * v);
    }
}

EACH_PART void add_harmonic(normal *eq, const model *m, const evidence *ev, const normal_frame *f,
                            const row *r, double *mean)
{
    double per_warp = model_per_warp(m);
    fours v, o;
    int now = model_splines(m, per_warp, (double)ev->warp[f->frame][r->h], &v);
    int other = model_splines(m, per_warp, (double)ev->warp[f->other][r->h], &o);
    add_tract(eq, r, now, v, other, -f->rho * o, mean);
}

static void let_go(normal *eq)
{
    double both[2 * HARMONICS][2 * HARMONICS] = {{0}};
    covariance_outer(&eq->a[0][0], MODEL_SIZE, &eq->mean[0][0], MODEL_SIZE, eq->held, -1);
    covariance_outer(&both[0][0], 2 * HARMONICS, &eq->doubt[0][0][0], 2 * HARMONICS, eq->held, -1);
    for (int i = 0; i < HARMONICS; i++)
        for (int j = 0; j < HARMONICS; j++) {
            eq->a[D * HARMONICS + i][D * HARMONICS + j] += both[i][j];
            eq->a[D * HARMONICS + i][E * HARMONICS + j] += both[i][HARMONICS + j];
            eq->a[E * HARMONICS + i][E * HARMONICS + j] += both[HARMONICS + i][HARMONICS + j];
        }
    eq->held = 0;
}

/* The weights of the harmonics; returns their sum. */
static double weigh(const model *m, const evidence *ev, const normal_frame *f, double w[HARMONICS])
{
    double sum = 0;
    for (int h = 0; h < HARMONICS; h++) {
        double var = m->sigma[h * HARMONICS + h] + (double)ev->var[f->frame][h];
        if (f->rho != 0)
            var += f->rho * f->rho * (double)ev->var[f->other][h];
        w[h] = isnan(var) ? 0 : f->counts / var;
        sum += w[h];
    }
    return sum;
}

EACH_PROCESSOR static void add_rows(normal *eq, const model *m, const evidence *ev,
                                    const normal_frame *f)
{
    double w[HARMONICS], sum = weigh(m, ev, f, w);
    if (sum <= 0)
        return;
    double l = ev->level_db[f->frame], lo = ev->level_db[f->other], rho = f->rho;
    double p = ev->pitch_st[f->frame] - m->pitch_mid, po = ev->pitch_st[f->other] - m->pitch_mid;
    double parts[NORMAL_PARTS] = {1 - rho, f->s - rho * f->s_other, l - rho * lo,
                                  f->s * l - rho * f->s_other * lo, p - rho * po};
    double doubt[NORMAL_PARTS] = {
        [D] = f->sd - rho * f->sd_other, [E] = f->sd * l - rho * f->sd_other * lo};
    double mean[MODEL_SIZE] = {0}, over = 1 / sqrt(sum);
    for (int h = 0; h < HARMONICS; h++) {
        if (w[h] <= 0)
            continue;
        row r = {h, w[h], parts};
        add_harmonic(eq, m, ev, f, &r, mean);
    }
    for (int q = 0; q < NORMAL_PARTS; q++) {
        for (int r = q; r < NORMAL_PARTS; r++)
            for (int h = 0; h < HARMONICS; h++)
                eq->parts[q][r][h] += (parts[q] * parts[r] + doubt[q] * doubt[r]) * w[h];
        for (int h = 0; h < HARMONICS; h++)
            mean[q * HARMONICS + h] = parts[q] * w[h];
    }
    for (int k = 0; k < MODEL_SIZE; k++)
        eq->mean[eq->held][k] = (float)(mean[k] * over);
    for (int h = 0; h < HARMONICS; h++) {
        eq->doubt[eq->held][0][h] = (float)(doubt[D] * w[h] * over);
        eq->doubt[eq->held][1][h] = (float)(doubt[E] * w[h] * over);
    }
    eq->held++;
}

void normal_add(normal *eq, const model *m, const evidence *ev, const normal_frame *f)
{
    add_rows(eq, m, ev, f);
    if (eq->held == NORMAL_HELD)
        let_go(eq);
}

/* a becomes R, upper, with R' R = a; four rows at a time are taken off those below. */
EACH_PROCESSOR static bool factor(double (*a)[MODEL_SIZE])
{
    enum { TOGETHER = 4 };
    for (int k = 0; k < MODEL_SIZE; k += TOGETHER) {
        for (int i = k; i < k + TOGETHER; i++) {
            for (int j = k; j < i; j++)
                for (int c = i; c < MODEL_SIZE; c++)
                    a[i][c] -= a[j][i] * a[j][c];
            if (!(a[i][i] > 0))
                return false;
            double over = 1 / sqrt(a[i][i]);
            for (int c = i; c < MODEL_SIZE; c++)
                a[i][c] *= over;
        }
        for (int i = k + TOGETHER; i < MODEL_SIZE; i++) {
            double x0 = a[k][i], x1 = a[k + 1][i], x2 = a[k + 2][i], x3 = a[k + 3][i];
            for (int c = i / TOGETHER * TOGETHER; c < MODEL_SIZE; c++)
                a[i][c] -=
                    (x0 * a[k][c] + x1 * a[k + 1][c]) + (x2 * a[k + 2][c] + x3 * a[k + 3][c]);
        }
    }
    return true;
}

bool normal_factor(normal *eq, normal_root *out)
{
    let_go(eq);
    for (int q = 0; q < NORMAL_PARTS; q++)
        for (int r = q; r < NORMAL_PARTS; r++)
            for (int h = 0; h < HARMONICS; h++)
                eq->a[q * HARMONICS + h][r * HARMONICS + h] += eq->parts[q][r][h];
    if (!factor(eq->a))
        return false;
    for (int k = 0; k < MODEL_SIZE; k++) {
        for (int c = 0; c < MODEL_SIZE; c++)
            out->r[k][c] = c > k ? (float)eq->a[k][c] : 0;
        out->over[k] = (float)(1 / eq->a[k][k]);
    }
    return true;
}

_Static_assert(MODEL_SIZE % LANES == 0, "a root's rows are worked on by whole lanes");

/* LANES rows of the root at a time: what is solved of them is taken off the others together. */
EACH_PART void solve_down(const normal_root *root, float *y)
{
    for (int k = 0; k < MODEL_SIZE; k += LANES) {
        lanes left = lanes_load(y + k);
        float x[LANES];
        for (int j = 0; j < LANES; j++) {
            x[j] = left[j] * root->over[k + j];
            left -= x[j] * lanes_load(root->r[k + j] + k);
        }
        memcpy(y + k, x, sizeof x);
        for (int c = k + LANES; c < MODEL_SIZE; c += LANES) {
            lanes rest = lanes_load(y + c);
            for (int j = 0; j < LANES; j++)
                rest -= x[j] * lanes_load(root->r[k + j] + c);
            lanes_store(y + c, rest);
        }
    }
}

EACH_PART void solve_up(const normal_root *root, float *y)
{
    for (int k = MODEL_SIZE - LANES; k >= 0; k -= LANES) {
        lanes column[LANES], sum[LANES] = {{0}}, left = lanes_load(y + k);
        float x[LANES];
        for (int j = 0; j < LANES; j++)
            column[j] = lanes_load(root->r[k + j] + k);
        lanes_transpose(column);
        for (int c = k + LANES; c < MODEL_SIZE; c += LANES)
            for (int j = 0; j < LANES; j++)
                sum[j] += lanes_load(root->r[k + j] + c) * lanes_load(y + c);
        lanes_transpose(sum);
        for (int j = 0; j < LANES; j++)
            left -= sum[j];
        for (int j = LANES; j-- > 0;) {
            x[j] = left[j] * root->over[k + j];
            left -= x[j] * column[j];
        }
        memcpy(y + k, x, sizeof x);
    }
}

EACH_PROCESSOR static void solve_triangles(const normal_root *root, float *y)
{
    solve_down(root, y);
    solve_up(root, y);
}

void normal_solve(const normal_root *root, const double b[MODEL_SIZE], double x[MODEL_SIZE])
{
    float y[MODEL_SIZE];
    for (int k = 0; k < MODEL_SIZE; k++)
        y[normal_place(k)] = (float)b[k];
    solve_triangles(root, y);
    for (int k = 0; k < MODEL_SIZE; k++)
        x[k] = (double)y[normal_place(k)];
}
