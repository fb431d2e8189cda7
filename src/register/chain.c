/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/chain.h"

#include "base/array.h"
#include "base/lanes.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { BINS = 17 };
static const double widest_sd = 3; /* the grid reaches this many standard deviations */
static const double frame_s = 0.005;
static const double never = 1e-37; /* where neither register goes with its neighbours */
static const float least = 1e-30f; /* likelihood of a state that is barred */

chain_settings chain_defaults(void)
{
    return (chain_settings){.temper = 0.06,
                            .drift_sd = 0.35,
                            .drift_s = 0.4,
                            .place = 0.01,
                            .hush_lo_s = 0.01,
                            .hush_hi_s = 0.05};
}

/* A register's states, and room for lanes. */
enum { ROOM = (BINS + 3) / 4 * 4 };
typedef union states {
    struct {
        float m1[ROOM], m2[ROOM];
    };
    float all[2 * ROOM];
} states;

typedef struct grid {
    double d[ROOM];
    float stationary[ROOM];                   /* 0 beyond BINS, as all that follows */
    float less[ROOM], more[ROOM], stay[ROOM]; /* per frame, a step down, up or none */
} grid;

static grid grid_new(const chain_settings *s, double hop_s)
{
    grid g = {.d = {0}};
    double width = 2 * widest_sd * s->drift_sd / (BINS - 1), sum = 0, stationary[BINS];
    double keep = exp(-hop_s / s->drift_s);
    double variance = s->drift_sd * s->drift_sd * (1 - keep * keep);
    for (int k = 0; k < BINS; k++) {
        g.d[k] = (k - BINS / 2) * width;
        double pull = -(1 - keep) * g.d[k];
        double both = (variance + pull * pull) / (width * width);
        double more = k + 1 < BINS ? fmax(0, (both + pull / width) / 2) : 0;
        double less = k > 0 ? fmax(0, (both - pull / width) / 2) : 0;
        g.more[k] = (float)more;
        g.less[k] = (float)less;
        g.stay[k] = (float)(1 - less - more);
        stationary[k] = exp(-0.5 * g.d[k] * g.d[k] / (s->drift_sd * s->drift_sd));
        sum += stationary[k];
    }
    for (int k = 0; k < BINS; k++)
        g.stationary[k] = (float)(stationary[k] / sum);
    return g;
}

/* One frame of drift within a register; backward: the same operator transposed. */
static inline void drift(const grid *g, float v[ROOM], bool backward)
{
    float room[ROOM + 2] = {0}, flow[ROOM + 2] = {0}, *at = room + 1, *from = flow + 1;
    if (backward) {
        memcpy(at, v, ROOM * sizeof *v);
        for (int k = 0; k < ROOM; k++)
            v[k] = g->stay[k] * at[k] + g->less[k] * at[k - 1] + g->more[k] * at[k + 1];
        return;
    }
    for (int k = 0; k < ROOM; k++) {
        at[k] = g->more[k] * v[k];
        from[k] = g->less[k] * v[k];
    }
    for (int k = 0; k < ROOM; k++)
        v[k] = g->stay[k] * v[k] + at[k - 1] + from[k + 1];
}

static inline void step_chain(const grid *g, states *v, float up, float down, int frames,
                              bool backward)
{
    for (int f = 0; f < frames; f++) {
        drift(g, v->m1, backward);
        drift(g, v->m2, backward);
    }
    float a = backward ? up : down, b = backward ? down : up;
    /* forward: new M1 = (1 - up) M1 + down M2; backward: new M1 = (1 - up) M1 + up M2 */
    for (int k = 0; k < ROOM; k++) {
        float m1 = v->m1[k], m2 = v->m2[k];
        v->m1[k] = (1 - up) * m1 + a * m2;
        v->m2[k] = (1 - down) * m2 + b * m1;
    }
}

/* weight * (c z - c^2 mass / 2) at its highest within `reach` of the middle of a register. */
static double highest(saying w, double weight, double middle, double reach)
{
    double best = w.mass > 0 ? w.z / w.mass : copysign(INFINITY, w.z);
    double c = fmax(middle - reach, fmin(best, middle + reach));
    return weight * (c * w.z - 0.5 * c * c * w.mass);
}

/* Likelihood of the frame in every state, scaled so that the best is about 1; returns the log of
 * the scale. */
static inline double emit(const grid *g, const evidence *ev, const chain_inputs *in, size_t i,
                          const chain_settings *s, states *out)
{
    saying w = in->says[i];
    double hush = (ev->edge_s[i] - s->hush_lo_s) / (s->hush_hi_s - s->hush_lo_s);
    double frames = ev->hop_s / frame_s;
    double weight = frames * s->temper * w.weight * fmin(fmax(hush, 0), 1);
    double by_place = 0.5 * frames * s->place * in->place[i];
    bool may_m1 = ev->declared[i] != DECLARED_M2, may_m2 = ev->declared[i] != DECLARED_M1;
    double best = fmax(highest(w, weight, -0.5, g->d[BINS - 1]) - by_place,
                       highest(w, weight, 0.5, g->d[BINS - 1]) + by_place);
    for (int k = 0; k < ROOM; k++) {
        double c1 = g->d[k] - 0.5, c2 = g->d[k] + 0.5;
        out->m1[k] = (float)(weight * (c1 * w.z - 0.5 * c1 * c1 * w.mass) - by_place - best);
        out->m2[k] = (float)(weight * (c2 * w.z - 0.5 * c2 * c2 * w.mass) + by_place - best);
    }
    lanes_exp(out->all, 2 * ROOM);
    for (int k = 0; k < ROOM; k++) {
        out->m1[k] = (may_m1 ? out->m1[k] : 0) + least;
        out->m2[k] = (may_m2 ? out->m2[k] : 0) + least;
    }
    return best;
}

static inline float total(const float v[ROOM])
{
    float sum[4] = {0};
    for (int k = 0; k < ROOM; k += 4)
        for (int j = 0; j < 4; j++)
            sum[j] += v[k + j];
    return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

static inline void multiply(states *v, const states *by, float times)
{
    for (int k = 0; k < ROOM; k++) {
        v->m1[k] *= by->m1[k] * times;
        v->m2[k] *= by->m2[k] * times;
    }
}

static int gap_frames(const evidence *ev, size_t i)
{
    return (int)fmax(1, round(ev->gap_s[i] / ev->hop_s));
}

/* said[ev->n]: of each frame; returns the sum of the logs of their scales. */
EACH_PROCESSOR static double emit_all(const grid *g, const evidence *ev, const chain_inputs *in,
                                      const chain_settings *s, states *said)
{
    double sum_log = 0;
    for (size_t i = 0; i < ev->n; i++)
        sum_log += emit(g, ev, in, i, s, &said[i]);
    return sum_log;
}

/* Returns the log-likelihood; opt_alpha[ev->n]: of each frame by what comes before it. */
EACH_PROCESSOR static double forward(const grid *g, const evidence *ev, const chain_inputs *in,
                                     bool flips, const states *said, states *opt_alpha)
{
    double sum_log = 0;
    states now = {.m1 = {0}};
    for (size_t i = 0; i < ev->n; i++) {
        if (isinf(ev->gap_s[i])) {
            float p2 = (float)(1 / (1 + exp(-in->place[i])));
            for (int k = 0; k < ROOM; k++) {
                now.m1[k] = g->stationary[k] * (1 - p2);
                now.m2[k] = g->stationary[k] * p2;
            }
        } else {
            float up = flips ? (float)in->up[i] : 0, down = flips ? (float)in->down[i] : 0;
            step_chain(g, &now, up, down, gap_frames(ev, i), false);
        }
        multiply(&now, &said[i], 1);
        float sum = total(now.m1) + total(now.m2), over = 1 / sum;
        sum_log += log((double)sum);
        for (int k = 0; k < ROOM; k++) {
            now.m1[k] *= over;
            now.m2[k] *= over;
        }
        if (opt_alpha)
            opt_alpha[i] = now;
    }
    return sum_log;
}

EACH_PROCESSOR static void backward(const grid *g, const evidence *ev, const chain_inputs *in,
                                    const states *said, states *alpha, double *p2)
{
    states beta = {.m1 = {0}};
    for (size_t i = ev->n; i-- > 0;) {
        if (i + 1 == ev->n || isinf(ev->gap_s[i + 1])) {
            for (int k = 0; k < BINS; k++)
                beta.m1[k] = beta.m2[k] = 1;
        } else {
            multiply(&beta, &said[i + 1], 1 / (total(beta.m1) + total(beta.m2)));
            step_chain(g, &beta, (float)in->up[i + 1], (float)in->down[i + 1],
                       gap_frames(ev, i + 1), true);
        }
        multiply(&alpha[i], &beta, 1);
        double m1 = (double)total(alpha[i].m1), m2 = (double)total(alpha[i].m2);
        p2[i] = (m2 + never) / (m1 + m2 + 2 * never);
    }
}

double chain_run(const evidence *ev, const chain_inputs *in, const chain_settings *s,
                 double *opt_p2, double *opt_without)
{
    grid g = grid_new(s, ev->hop_s);
    states *said = xmalloc(ev->n, sizeof *said);
    states *alpha = opt_p2 ? xmalloc(ev->n, sizeof *alpha) : NULL;
    double scale = emit_all(&g, ev, in, s, said);
    double log_p = scale + forward(&g, ev, in, true, said, alpha);
    if (opt_without)
        *opt_without = scale + forward(&g, ev, in, false, said, NULL);
    if (alpha)
        backward(&g, ev, in, said, alpha, opt_p2);
    free(alpha);
    free(said);
    return log_p;
}
