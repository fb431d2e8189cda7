/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/shapes.h"

#include <gsl/gsl_linalg.h>
#include <math.h>
#include <string.h>

enum { NODES = VOWEL_NODES, HALVES = HARMONICS / LANES };
typedef unsigned char lane_bytes __attribute__((vector_size(LANES)));

EACH_PART void see_one(const design *d, const float *var, const float *r, size_t i, seen *s)
{
    lanes n = {0}, sum = {0}, one = 1 + (lanes){0};
    lane_bits sung = (lane_bits){0} - (d->ev->edge_s[i] >= 0), last = NODES - 2 + (lane_bits){0};
    for (int h = 0; h < HARMONICS; h += LANES) {
        lane_shorts first;
        memcpy(&first, d->first[i] + h, sizeof first);
        lanes at = (__builtin_convertvector(first / 4, lanes) + lanes_load(d->beyond[i] + h)) *
                   (NODES - 1) / (MODEL_SPLINES - 3);
        lane_bits node = __builtin_convertvector(at, lane_bits), beyond = node > last;
        node = (last & beyond) | (node & ~beyond);
        lane_bytes nodes = __builtin_convertvector(node, lane_bytes);
        memcpy(s->node + h, &nodes, sizeof nodes);
        lanes_store(s->part + h, at - __builtin_convertvector(node, lanes));
        lanes noise = lanes_load(d->ev->var[i] + h), left = lanes_load(r + h);
        lane_bits there = sung & (noise < INFINITY) & (left < INFINITY);
        lanes w = lanes_where(there, 1 / (lanes_load(var + h) + noise));
        lanes_store(s->left + h, lanes_where(there, left));
        lanes_store(s->w + h, w);
        n += lanes_where(there, one);
        sum += w;
    }
    s->sum = lanes_sum(n)[0] < 2 ? 0 : lanes_sum(sum)[0];
}

EACH_PROCESSOR static void see_all(const design *d, const float *var, float (*r)[HARMONICS],
                                   seen *out)
{
    for (size_t i = 0; i < d->ev->n; i++)
        see_one(d, var, r[i], i, &out[i]);
}

void shapes_see(const design *d, const float var[HARMONICS], float (*r)[HARMONICS], seen *out)
{
    see_all(d, var, r, out);
}

/* The shape at LANES harmonics from h on. */
EACH_PART lanes at_harmonics(const seen *s, const float *shape, int h)
{
    const unsigned char *k = s->node + h;
    const float *on = shape + 1;
    lanes x = {shape[k[0]], shape[k[1]], shape[k[2]], shape[k[3]],
               shape[k[4]], shape[k[5]], shape[k[6]], shape[k[7]]};
    lanes next = {on[k[0]], on[k[1]], on[k[2]], on[k[3]], on[k[4]], on[k[5]], on[k[6]], on[k[7]]};
    return x + lanes_load(s->part + h) * (next - x);
}

EACH_PART void leave(seen *s, const float *shape, float by)
{
    for (int h = 0; h < HARMONICS; h += LANES) {
        lanes x = lanes_where(lanes_load(s->w + h) > 0, by * at_harmonics(s, shape, h));
        lanes_store(s->left + h, lanes_load(s->left + h) - x);
    }
}

EACH_PROCESSOR static void leave_shape(seen *s, const float *shape, float by)
{
    leave(s, shape, by);
}

void shapes_leave(seen *s, const float shape[VOWEL_NODES], float by)
{
    leave_shape(s, shape, by);
}

EACH_PART void take(const seen *s, const float *shape, float by, const float *var, float *y)
{
    for (int h = 0; h < HARMONICS; h += LANES) {
        lanes x = lanes_where(lanes_load(var + h) < INFINITY, by * at_harmonics(s, shape, h));
        lanes_store(y + h, lanes_load(y + h) - x);
    }
}

EACH_PROCESSOR static void take_shape(const seen *s, const float *shape, float by, const float *var,
                                      float *y)
{
    take(s, shape, by, var, y);
}

void shapes_take(const seen *s, const float shape[VOWEL_NODES], float by,
                 const float var[HARMONICS], float y[HARMONICS])
{
    take_shape(s, shape, by, var, y);
}

EACH_PART void share(const seen *s, const float *shape, shape_share *out)
{
    lanes x[HALVES], mean = {0}, along = {0}, mass = {0}, square = {0};
    for (int k = 0; k < HALVES; k++) {
        x[k] = at_harmonics(s, shape, k * LANES);
        mean += lanes_load(s->w + k * LANES) * x[k];
    }
    mean = lanes_sum(mean) / s->sum;
    for (int k = 0; k < HALVES; k++) {
        lanes w = lanes_load(s->w + k * LANES), off = x[k] - mean;
        along += w * off * lanes_load(s->left + k * LANES);
        mass += w * off * off;
        square += off * off;
    }
    *out = (shape_share){mean[0], lanes_sum(along)[0], lanes_sum(mass)[0],
                         lanes_sum(square)[0] / HARMONICS};
}

EACH_PROCESSOR static void share_of(const seen *s, const float *shape, shape_share *out)
{
    share(s, shape, out);
}

shape_share shapes_share(const seen *s, const float shape[VOWEL_NODES])
{
    shape_share out;
    share_of(s, shape, &out);
    return out;
}

enum { LO_LO, LO_HI, HI_HI, GOAL_LO, GOAL_HI }; /* what the sums of a node hold */
enum { BAND = 3 };                              /* of their matrix, half of it */

EACH_PART void add(shape_sums *to, const seen *s, float x, float xx, float mean)
{
    for (int h = 0; h < HARMONICS; h += LANES) {
        lanes w = lanes_load(s->w + h), hi = lanes_load(s->part + h), lo = 1 - hi;
        lanes goal = w * (x * lanes_load(s->left + h) + xx * mean);
        lanes each[LANES] = {[LO_LO] = w * xx * lo * lo,
                             [LO_HI] = w * xx * lo * hi,
                             [HI_HI] = w * xx * hi * hi,
                             [GOAL_LO] = goal * lo,
                             [GOAL_HI] = goal * hi};
        lanes_transpose(each);
        for (int k = 0; k < LANES; k++) {
            float *at = to->at[s->node[h + k]];
            lanes_store(at, lanes_load(at) + each[k]);
        }
    }
}

EACH_PROCESSOR static void add_one(shape_sums *to, const seen *s, float x, float xx, float mean)
{
    add(to, s, x, xx, mean);
}

void shapes_add(shape_sums *to, const seen *s, float x, float xx, float mean)
{
    add_one(to, s, x, xx, mean);
}

void shapes_solve(const shape_sums *sums, double small, double smooth, float shape[VOWEL_NODES])
{
    static const double d[BAND] = {1, -2, 1};
    double a[NODES][BAND] = {{0}}, b[NODES] = {0}; /* a: by columns from the diagonal down */
    for (int k = 0; k < NODES; k++)
        a[k][0] += small;
    for (int k = 0; k + 1 < NODES; k++) {
        a[k][0] += (double)sums->at[k][LO_LO];
        a[k][1] += (double)sums->at[k][LO_HI];
        a[k + 1][0] += (double)sums->at[k][HI_HI];
        b[k] += (double)sums->at[k][GOAL_LO];
        b[k + 1] += (double)sums->at[k][GOAL_HI];
    }
    for (int k = 0; k + 2 < NODES; k++)
        for (int p = 0; p < BAND; p++)
            for (int q = 0; q <= p; q++)
                a[k + q][p - q] += smooth * d[p] * d[q];
    gsl_matrix_view matrix = gsl_matrix_view_array(&a[0][0], NODES, BAND);
    gsl_vector_view vector = gsl_vector_view_array(b, NODES);
    gsl_linalg_cholesky_band_decomp(&matrix.matrix);
    gsl_linalg_cholesky_band_svx(&matrix.matrix, &vector.vector);
    for (int k = 0; k < NODES; k++)
        shape[k] = (float)b[k];
}

shapes shapes_of(const vowels *v)
{
    shapes all = {.n = v->n};
    for (int k = 0; k < v->n; k++)
        for (int j = 0; j < NODES; j++)
            all.at[j][k] = v->shape[k][j];
    return all;
}

/* out[LANES]: weighted sums of squares that as many shapes from k on leave of a frame, times by. */
EACH_PART void misfits(const shapes *all, const seen *s, int k, float by, float *out)
{
    lanes x[HARMONICS], mean = {0}, sum = {0};
    for (int h = 0; h < HARMONICS; h++) {
        lanes here = lanes_load(all->at[s->node[h]] + k);
        lanes next = lanes_load(all->at[s->node[h] + 1] + k);
        x[h] = s->left[h] - (here + s->part[h] * (next - here));
        mean += s->w[h] * x[h];
    }
    mean /= s->sum;
    for (int h = 0; h < HARMONICS; h++)
        sum += s->w[h] * (x[h] - mean) * (x[h] - mean);
    lanes_store(out, by * sum);
}

EACH_PROCESSOR static void misfits_all(const shapes *all, const seen *s, float by, float *out)
{
    for (int k = 0; k < all->n; k += LANES)
        misfits(all, s, k, by, out + k);
}

void shapes_likely(const shapes *all, const seen *s, size_t n, float by, float (*p)[SHAPES_ROOM])
{
    for (size_t i = 0; i < n; i++) {
        float best = -INFINITY;
        memset(p[i], 0, sizeof p[i]);
        if (s[i].sum > 0)
            misfits_all(all, &s[i], -0.5F * by, p[i]);
        for (int k = 0; k < all->n; k++)
            best = fmaxf(best, p[i][k]);
        for (int k = 0; k < all->n; k++)
            p[i][k] -= best;
        lanes_exp(p[i], (size_t)(all->n + LANES - 1) / LANES * LANES); /* whole lanes are quicker */
        for (int k = all->n; k < SHAPES_ROOM; k++)
            p[i][k] = 0;
    }
}
