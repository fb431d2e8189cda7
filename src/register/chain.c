/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/chain.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BINS = 17, STATES = 2 * BINS };
static const double widest_sd = 3; /* the grid reaches this many standard deviations */
static const double frame_s = 0.005;

chain_settings chain_defaults(void)
{
    return (chain_settings){.temper = 0.06,
                            .drift_sd = 0.35,
                            .drift_s = 0.4,
                            .place = 0.01,
                            .hush_lo_s = 0.01,
                            .hush_hi_s = 0.05};
}

typedef struct grid {
    double d[BINS], stationary[BINS];
    double less[BINS], more[BINS]; /* probability of a step down or up per frame */
} grid;

static grid grid_new(const chain_settings *s, double hop_s)
{
    grid g;
    double width = 2 * widest_sd * s->drift_sd / (BINS - 1), sum = 0;
    double keep = exp(-hop_s / s->drift_s);
    double variance = s->drift_sd * s->drift_sd * (1 - keep * keep);
    for (int k = 0; k < BINS; k++) {
        g.d[k] = (k - BINS / 2) * width;
        double pull = -(1 - keep) * g.d[k];
        double both = (variance + pull * pull) / (width * width);
        g.more[k] = k + 1 < BINS ? fmax(0, (both + pull / width) / 2) : 0;
        g.less[k] = k > 0 ? fmax(0, (both - pull / width) / 2) : 0;
        g.stationary[k] = exp(-0.5 * g.d[k] * g.d[k] / (s->drift_sd * s->drift_sd));
        sum += g.stationary[k];
    }
    for (int k = 0; k < BINS; k++)
        g.stationary[k] /= sum;
    return g;
}

/* One frame of drift within a register; backward: the same operator transposed. */
static void drift(const grid *g, double v[BINS], bool backward)
{
    double out[BINS];
    for (int k = 0; k < BINS; k++) {
        double stay = 1 - g->less[k] - g->more[k];
        if (backward) {
            out[k] = stay * v[k];
            out[k] += k > 0 ? g->less[k] * v[k - 1] : 0;
            out[k] += k + 1 < BINS ? g->more[k] * v[k + 1] : 0;
        } else {
            out[k] = stay * v[k];
            out[k] += k > 0 ? g->more[k - 1] * v[k - 1] : 0;
            out[k] += k + 1 < BINS ? g->less[k + 1] * v[k + 1] : 0;
        }
    }
    memcpy(v, out, sizeof out);
}

static void step_chain(const grid *g, double v[STATES], double up, double down, int frames,
                       bool backward)
{
    for (int f = 0; f < frames; f++) {
        drift(g, v, backward);
        drift(g, v + BINS, backward);
    }
    double a = backward ? up : down, b = backward ? down : up;
    /* forward: new M1 = (1 - up) M1 + down M2; backward: new M1 = (1 - up) M1 + up M2 */
    for (int k = 0; k < BINS; k++) {
        double m1 = v[k], m2 = v[BINS + k];
        v[k] = (1 - up) * m1 + a * m2;
        v[BINS + k] = (1 - down) * m2 + b * m1;
    }
}

/* Likelihood of the frame in every state, scaled so that the best is 1; returns the log of the
 * scale. */
static double emit(const grid *g, const evidence *ev, const chain_inputs *in, size_t i,
                   const chain_settings *s, double out[STATES])
{
    saying w = in->says[i];
    double hush = (ev->edge_s[i] - s->hush_lo_s) / (s->hush_hi_s - s->hush_lo_s);
    double frames = ev->hop_s / frame_s;
    double weight = frames * s->temper * w.weight * fmin(fmax(hush, 0), 1),
           best = -(double)INFINITY;
    for (int k = 0; k < STATES; k++) {
        double half = k < BINS ? -0.5 : 0.5, c = half + g->d[k % BINS];
        out[k] =
            weight * (c * w.z - 0.5 * c * c * w.mass) + half * frames * s->place * in->place[i];
        best = fmax(best, out[k]);
    }
    for (int k = 0; k < STATES; k++) {
        double half = k < BINS ? -1 : 1;
        bool barred = (ev->declared[i] == DECLARED_M1 && half > 0) ||
                      (ev->declared[i] == DECLARED_M2 && half < 0);
        out[k] = (barred ? 0 : exp(out[k] - best)) + 1e-300;
    }
    return best;
}

static double scale(double v[STATES])
{
    double sum = 0;
    for (int k = 0; k < STATES; k++)
        sum += v[k];
    for (int k = 0; k < STATES; k++)
        v[k] /= sum;
    return log(sum);
}

static int gap_frames(const evidence *ev, size_t i)
{
    return (int)fmax(1, round(ev->gap_s[i] / ev->hop_s));
}

static double forward(const grid *g, const evidence *ev, const chain_inputs *in,
                      const chain_settings *s, double (*alpha)[STATES])
{
    double total = 0, e[STATES];
    for (size_t i = 0; i < ev->n; i++) {
        double *now = alpha[i];
        if (isinf(ev->gap_s[i])) {
            double p2 = 1 / (1 + exp(-in->place[i]));
            for (int k = 0; k < STATES; k++)
                now[k] = g->stationary[k % BINS] * (k < BINS ? 1 - p2 : p2);
        } else {
            memcpy(now, alpha[i - 1], sizeof alpha[i]);
            step_chain(g, now, in->up[i], in->down[i], gap_frames(ev, i), false);
        }
        total += emit(g, ev, in, i, s, e);
        for (int k = 0; k < STATES; k++)
            now[k] *= e[k];
        total += scale(now);
    }
    return total;
}

static void backward(const grid *g, const evidence *ev, const chain_inputs *in,
                     const chain_settings *s, double (*alpha)[STATES], double *p2)
{
    double beta[STATES], e[STATES];
    for (size_t i = ev->n; i-- > 0;) {
        if (i + 1 == ev->n || isinf(ev->gap_s[i + 1])) {
            for (int k = 0; k < STATES; k++)
                beta[k] = 1;
        } else {
            emit(g, ev, in, i + 1, s, e);
            for (int k = 0; k < STATES; k++)
                beta[k] *= e[k];
            step_chain(g, beta, in->up[i + 1], in->down[i + 1], gap_frames(ev, i + 1), true);
            scale(beta);
        }
        double sum = 0, m2 = 0;
        for (int k = 0; k < STATES; k++) {
            double p = alpha[i][k] * beta[k];
            sum += p;
            m2 += k >= BINS ? p : 0;
        }
        p2[i] = m2 / sum;
    }
}

double chain_run(const evidence *ev, const chain_inputs *in, const chain_settings *s, double *p2)
{
    grid g = grid_new(s, ev->hop_s);
    double(*alpha)[STATES] = xmalloc(ev->n, sizeof *alpha);
    double total = forward(&g, ev, in, s, alpha);
    backward(&g, ev, in, s, alpha, p2);
    free(alpha);
    return total;
}
