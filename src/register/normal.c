/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/normal.h"

#include "base/lanes.h"

#include <math.h>
#include <string.h>

enum { D = 1, E = 3, T = NORMAL_PARTS * HARMONICS }; /* the parts that the register multiplies */

/* y[0..3] += times x[0..3] */
static inline void add_four(double *y, double times, const double x[4])
{
    fours a, b;
    memcpy(&a, y, sizeof a);
    memcpy(&b, x, sizeof b);
    a += times * b;
    memcpy(y, &a, sizeof a);
}

typedef struct row { /* one harmonic of what enters */
    int h;
    double w, wy;
    const double *parts; /* what multiplies S, D, a, e, c */
} row;

/* Four of T's splines with each other and with all else but those of the other frame. */
static inline void add_splines(normal *eq, const row *r, int first, const double v[4],
                               double mean[MODEL_SIZE])
{
    for (int k = 0; k < 4; k++)
        add_four(&eq->a[T + first + k][T + first], r->w * v[k], v);
    for (int q = 0; q < NORMAL_PARTS; q++)
        add_four(&eq->a[q * HARMONICS + r->h][T + first], r->w * r->parts[q], v);
    add_four(&eq->b[T + first], r->wy, v);
    add_four(mean + T + first, r->w, v);
}

/* Both frames' splines, which often are the same four. */
static inline void add_tract(normal *eq, const row *r, const model_row *now, const model_row *other,
                             double rho, double mean[MODEL_SIZE])
{
    double v[4], o[4];
    bool same = now->first == other->first;
    for (int k = 0; k < 4; k++) {
        o[k] = -rho * other->w[k];
        v[k] = same ? now->w[k] + o[k] : now->w[k];
    }
    add_splines(eq, r, now->first, v, mean);
    if (same || rho == 0)
        return;
    add_splines(eq, r, other->first, o, mean);
    for (int k = 0; k < 4; k++) {
        add_four(&eq->a[T + now->first + k][T + other->first], r->w * v[k], o);
        add_four(&eq->a[T + other->first + k][T + now->first], r->w * o[k], v);
    }
}

/* a -= x' x for the rows of x, 8 columns of it at a time by 4 of its rows. */
static inline void take_off(double *a, size_t stride, const double *x, size_t width, int rows)
{
    for (size_t p = 0; p < width; p += 4)
        for (size_t q = p / 8 * 8; q < width; q += 8) {
            fours sums[4][2] = {{{0}}};
            for (int t = 0; t < rows; t++) {
                const double *line = x + (size_t)t * width;
                fours lo, hi;
                memcpy(&lo, line + q, sizeof lo);
                memcpy(&hi, line + q + 4, sizeof hi);
                for (int k = 0; k < 4; k++) {
                    sums[k][0] += line[p + (size_t)k] * lo;
                    sums[k][1] += line[p + (size_t)k] * hi;
                }
            }
            for (size_t k = 0; k < 4; k++)
                for (size_t j = 0; j < 8; j++)
                    a[(p + k) * stride + q + j] -= sums[k][j / 4][j % 4];
        }
}

EACH_PROCESSOR static void let_go(normal *eq)
{
    double both[2 * HARMONICS][2 * HARMONICS] = {{0}};
    take_off(&eq->a[0][0], MODEL_SIZE, &eq->mean[0][0], MODEL_SIZE, eq->held);
    take_off(&both[0][0], 2 * HARMONICS, &eq->doubt[0][0][0], 2 * HARMONICS, eq->held);
    for (int i = 0; i < HARMONICS; i++)
        for (int j = 0; j < HARMONICS; j++) {
            eq->a[D * HARMONICS + i][D * HARMONICS + j] += both[i][j];
            eq->a[D * HARMONICS + i][E * HARMONICS + j] += both[i][HARMONICS + j];
            eq->a[E * HARMONICS + i][E * HARMONICS + j] += both[HARMONICS + i][HARMONICS + j];
        }
    eq->held = 0;
}

/* The weights of the harmonics and what they weigh; returns the sum of the weights. */
static double weigh(const model *m, const evidence *ev, const normal_frame *f, double w[HARMONICS],
                    double y[HARMONICS])
{
    double sum = 0;
    for (int h = 0; h < HARMONICS; h++) {
        y[h] = ev->y_db[f->frame][h];
        double var = m->sigma[h * HARMONICS + h] + ev->var[f->frame][h];
        if (f->rho != 0) {
            y[h] -= f->rho * ev->y_db[f->other][h];
            var += f->rho * f->rho * ev->var[f->other][h];
        }
        w[h] = isnan(y[h]) ? 0 : f->counts / var;
        y[h] = isnan(y[h]) ? 0 : y[h];
        sum += w[h];
    }
    return sum;
}

EACH_PROCESSOR static void add_rows(normal *eq, const model *m, const evidence *ev,
                                    const normal_frame *f)
{
    double w[HARMONICS], y[HARMONICS], sum = weigh(m, ev, f, w, y), sum_y = 0;
    if (sum <= 0)
        return;
    double l = ev->level_db[f->frame], lo = ev->level_db[f->other], rho = f->rho;
    double p = ev->pitch_st[f->frame] - m->pitch_mid, po = ev->pitch_st[f->other] - m->pitch_mid;
    double parts[NORMAL_PARTS] = {1 - rho, f->s - rho * f->s_other, l - rho * lo,
                                  f->s * l - rho * f->s_other * lo, p - rho * po};
    double doubt[NORMAL_PARTS] = {
        [D] = f->sd - rho * f->sd_other, [E] = f->sd * l - rho * f->sd_other * lo};
    double *mean = eq->mean[eq->held], over = 1 / sqrt(sum);
    memset(mean, 0, sizeof eq->mean[0]);
    for (int h = 0; h < HARMONICS; h++) {
        if (w[h] <= 0)
            continue;
        row r = {h, w[h], w[h] * y[h], parts};
        model_row now = model_row_of(m, ev, f->frame, h);
        model_row other = rho != 0 ? model_row_of(m, ev, f->other, h) : now;
        add_tract(eq, &r, &now, &other, rho, mean);
        sum_y += w[h] * y[h];
    }
    for (int q = 0; q < NORMAL_PARTS; q++) {
        for (int r = q; r < NORMAL_PARTS; r++)
            for (int h = 0; h < HARMONICS; h++)
                eq->parts[q][r][h] += (parts[q] * parts[r] + doubt[q] * doubt[r]) * w[h];
        for (int h = 0; h < HARMONICS; h++) {
            eq->b[q * HARMONICS + h] += parts[q] * w[h] * y[h];
            mean[q * HARMONICS + h] = parts[q] * w[h];
        }
    }
    for (int k = 0; k < MODEL_SIZE; k++) {
        eq->b[k] -= mean[k] * (sum_y / sum);
        mean[k] *= over;
    }
    for (int h = 0; h < HARMONICS; h++) {
        eq->doubt[eq->held][0][h] = doubt[D] * w[h] * over;
        eq->doubt[eq->held][1][h] = doubt[E] * w[h] * over;
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

bool normal_solve(normal *eq, double beta[MODEL_SIZE])
{
    let_go(eq);
    for (int q = 0; q < NORMAL_PARTS; q++)
        for (int r = q; r < NORMAL_PARTS; r++)
            for (int h = 0; h < HARMONICS; h++)
                eq->a[q * HARMONICS + h][r * HARMONICS + h] += eq->parts[q][r][h];
    if (!factor(eq->a))
        return false;
    for (int k = 0; k < MODEL_SIZE; k++) {
        eq->b[k] /= eq->a[k][k];
        for (int c = k + 1; c < MODEL_SIZE; c++)
            eq->b[c] -= eq->a[k][c] * eq->b[k];
    }
    for (int k = MODEL_SIZE; k-- > 0;) {
        for (int c = k + 1; c < MODEL_SIZE; c++)
            eq->b[k] -= eq->a[k][c] * eq->b[c];
        eq->b[k] /= eq->a[k][k];
    }
    for (int k = 0; k < MODEL_SIZE; k++)
        beta[k] = eq->b[normal_place(k)];
    return true;
}
