/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/vowels.h"

#include "base/array.h"
#include "register/shapes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { NODES = VOWEL_NODES, MOST = VOWELS_MOST, FACTOR_ROUNDS = 6, SPLIT_ROUNDS = 2 };
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
    seen *frames; /* [n] */
    const vowels *v;
    float (*q)[SHAPES_ROOM]; /* [n] how likely each vowel is */
} fit;

static fit fit_new(const model *m, const design *d, float (*r)[HARMONICS])
{
    size_t n = d->ev->n;
    fit f = {d, xmalloc(n, sizeof *f.frames), &m->mouth, xcalloc(n, sizeof *f.q)};
    float var[HARMONICS];
    for (int h = 0; h < HARMONICS; h++)
        var[h] = fminf((float)m->sigma[h * HARMONICS + h], most_var_db2);
    shapes_see(d, var, r, f.frames);
    return f;
}

static void fit_clear(fit *f)
{
    free(f->frames);
    free(f->q);
}

/* Frame i less the vowels that the fit has by now. */
static seen left_over(const fit *f, size_t i)
{
    seen s = f->frames[i];
    for (int k = 0; k < f->v->n; k++)
        if (f->q[i][k] > share_least)
            shapes_leave(&s, f->v->shape[k], f->q[i][k]);
    return s;
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
    seen *all = xmalloc(frames, sizeof *all);
    begin_shape(m, shape);
    for (size_t i = 0; i < frames; i++)
        all[i] = left_over(f, i);
    for (int round = 0; round <= FACTOR_ROUNDS; round++) {
        double squares = 0, n = 0;
        shape_sums sums = {{{0}}};
        power = 0;
        for (size_t i = 0; i < frames; i++) {
            u[i] = 0;
            if (!(all[i].sum > 0))
                continue;
            shape_share has = shapes_share(&all[i], shape);
            float over = 1 / (1 + has.mass);
            u[i] = has.along * over;
            shapes_add(&sums, &all[i], u[i], u[i] * u[i] + over, has.mean);
            squares += (double)(u[i] * u[i] + over);
            power += (double)has.square;
            n++;
        }
        power = n > 0 ? sqrt(power / n) : 0;
        if (round == FACTOR_ROUNDS || !(n > 0))
            break;
        shapes_solve(&sums, small, smooth, shape);
        for (int k = 0; k < NODES; k++)
            shape[k] *= (float)sqrt(squares / n);
    }
    free(all);
    return power;
}

typedef lanes shares[SHAPES_ROOM / LANES]; /* of the vowels of one frame */
enum { GROUPS = SHAPES_ROOM / LANES };

EACH_PART void load_shares(shares x, const float *from)
{
    for (int g = 0; g < GROUPS; g++)
        x[g] = lanes_load(from + g * LANES);
}

/* x sums to 1. */
EACH_PART void norm(shares x)
{
    lanes sum = {0};
    for (int g = 0; g < GROUPS; g++)
        sum += x[g] += 1e-30F;
    sum = lanes_sum(sum);
    for (int g = 0; g < GROUPS; g++)
        x[g] /= sum;
}

/* The chain forth and back; what is beyond the n vowels comes to nothing. */
EACH_PART void go(const evidence *ev, float (*own)[SHAPES_ROOM], int n, float (*q)[SHAPES_ROOM])
{
    float change = (float)(1 - stay) / (float)n;
    shares now = {{0}}, after = {{0}}, says;
    for (size_t i = 0; i < ev->n; i++) {
        float kept = isinf(ev->gap_s[i]) ? 0 : (float)stay;
        load_shares(says, own[i]);
        for (int g = 0; g < GROUPS; g++)
            now[g] = says[g] * (kept * now[g] + change);
        norm(now);
        memcpy(q[i], now, sizeof now);
    }
    for (size_t i = ev->n; i-- > 0;) {
        lanes all = {0};
        load_shares(says, own[i]);
        load_shares(now, q[i]);
        for (int g = 0; g < GROUPS; g++) {
            if (i + 1 == ev->n || isinf(ev->gap_s[i + 1]))
                after[g] = 1 + (lanes){0};
            now[g] *= after[g];
            after[g] *= says[g];
            all += after[g];
        }
        norm(now);
        memcpy(q[i], now, sizeof now);
        all = change * lanes_sum(all);
        for (int g = 0; g < GROUPS; g++)
            after[g] = (float)stay * after[g] + all;
        norm(after);
    }
}

EACH_PROCESSOR static void chain_vowels(const evidence *ev, float (*own)[SHAPES_ROOM], int n,
                                        float (*q)[SHAPES_ROOM])
{
    go(ev, own, n, q);
}

static void tell_vowels(const fit *f)
{
    size_t n = f->d->ev->n;
    float(*own)[SHAPES_ROOM] = xmalloc(n, sizeof *own);
    shapes all = shapes_of(f->v);
    shapes_likely(&all, f->frames, n, (float)temper, own);
    chain_vowels(f->d->ev, own, f->v->n, f->q);
    free(own);
}

static void learn_shapes(const fit *f, vowels *v)
{
    for (int k = 0; k < v->n; k++) {
        shape_sums sums = {{{0}}};
        for (size_t i = 0; i < f->d->ev->n; i++) {
            const seen *s = &f->frames[i];
            float q = f->q[i][k];
            if (f->d->counts[i] > 0 && q >= share_least && s->sum > 0)
                shapes_add(&sums, s, q, q, shapes_share(s, v->shape[k]).mean);
        }
        shapes_solve(&sums, small, smooth, v->shape[k]);
    }
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
    while (v->n < MOST && factor(m, f, u) >= (v->n > 1 ? split_db : VOWELS_LEAST_DB)) {
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

double vowels_move(const model *m, const design *d, float (*r)[HARMONICS])
{
    fit f = fit_new(m, d, r);
    float *u = xmalloc(d->ev->n, sizeof *u);
    double db = factor(m, &f, u);
    free(u);
    fit_clear(&f);
    return db;
}

static void learn(model *m, const fit *f)
{
    if (m->mouth.n == 0) {
        begin(m, f);
    } else {
        tell_vowels(f);
        learn_shapes(f, &m->mouth);
    }
}

void vowels_take_out(model *m, bool may_learn, const design *d, float (*r)[HARMONICS],
                     float (*y)[HARMONICS])
{
    fit f = fit_new(m, d, r);
    if (may_learn)
        learn(m, &f);
    if (m->mouth.n > 0)
        tell_vowels(&f);
    memcpy(y, d->ev->y_db, d->ev->n * sizeof *y);
    for (size_t i = 0; i < d->ev->n; i++)
        for (int k = 0; k < m->mouth.n; k++)
            if (f.q[i][k] > share_least)
                shapes_take(&f.frames[i], m->mouth.shape[k], f.q[i][k], d->ev->var[i], y[i]);
    fit_clear(&f);
}
