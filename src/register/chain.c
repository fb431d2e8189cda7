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
static const double most_product = 1e200;

chain_settings chain_defaults(void)
{
    return (chain_settings){.temper = 0.06,
                            .drift_sd = 0.35,
                            .drift_s = 0.4,
                            .place = 0.01,
                            .hush_lo_s = 0.01,
                            .hush_hi_s = 0.05};
}

/* Bin k of M1's drift is lane k / EACH of vector k % EACH, so that bin k + 1 is the same lane of
 * the next vector; M2's are HALF lanes on. What is beyond BINS is 0. */
enum { EACH = 5, HALF = LANES / 2 };
typedef struct states {
    float of[EACH][LANES];
} states;

typedef struct grid {
    double widest;                       /* drift */
    double c[EACH][LANES], sign[LANES];  /* register and drift; -1 in M1, 1 in M2 */
    states stationary, less, more, stay; /* per frame, a step down, up or none */
} grid;

static void put_bin(states *s, int k, double value)
{
    s->of[k % EACH][k / EACH] = s->of[k % EACH][k / EACH + HALF] = (float)value;
}

static grid grid_new(const chain_settings *s, double hop_s)
{
    grid g = {.widest = widest_sd * s->drift_sd};
    double width = 2 * g.widest / (BINS - 1), sum = 0, stationary[BINS];
    double keep = exp(-hop_s / s->drift_s);
    double variance = s->drift_sd * s->drift_sd * (1 - keep * keep);
    for (int k = 0; k < BINS; k++) {
        double d = (k - BINS / 2) * width, pull = -(1 - keep) * d;
        double both = (variance + pull * pull) / (width * width);
        double more = k + 1 < BINS ? fmax(0, (both + pull / width) / 2) : 0;
        double less = k > 0 ? fmax(0, (both - pull / width) / 2) : 0;
        put_bin(&g.more, k, more);
        put_bin(&g.less, k, less);
        put_bin(&g.stay, k, 1 - less - more);
        stationary[k] = exp(-0.5 * d * d / (s->drift_sd * s->drift_sd));
        sum += stationary[k];
        g.c[k % EACH][k / EACH] = d - 0.5;
        g.c[k % EACH][k / EACH + HALF] = d + 0.5;
    }
    for (int k = 0; k < BINS; k++)
        put_bin(&g.stationary, k, stationary[k] / sum);
    for (int j = 0; j < LANES; j++)
        g.sign[j] = j < HALF ? -1 : 1;
    return g;
}

EACH_PART lanes load(const states *s, int j)
{
    lanes v;
    memcpy(&v, s->of[j], sizeof v);
    return v;
}

/* The bins before those of the first vector, from the last one, and those after the last. */
EACH_PART lanes before_first(lanes last)
{
    return __builtin_shufflevector(last, last, 3, 0, 1, 2, 7, 4, 5, 6);
}

EACH_PART lanes after_last(lanes first)
{
    return __builtin_shufflevector(first, first, 1, 2, 3, 0, 5, 6, 7, 4);
}

/* One frame of drift within a register; backward: the same operator transposed. */
EACH_PART void drift(const grid *g, lanes v[EACH], bool backward)
{
    lanes up[EACH], down[EACH];
    for (int j = 0; j < EACH; j++) {
        up[j] = backward ? v[j] : load(&g->more, j) * v[j];
        down[j] = backward ? v[j] : load(&g->less, j) * v[j];
    }
    for (int j = 0; j < EACH; j++) {
        lanes below = j > 0 ? up[j - 1] : before_first(up[EACH - 1]);
        lanes above = j + 1 < EACH ? down[j + 1] : after_last(down[0]);
        v[j] = load(&g->stay, j) * v[j] + (backward ? load(&g->less, j) * below : below) +
               (backward ? load(&g->more, j) * above : above);
    }
}

EACH_PART void step_chain(const grid *g, lanes v[EACH], float up, float down, int frames,
                          bool backward)
{
    for (int f = 0; f < frames; f++)
        drift(g, v, backward);
    lanes leave = {up, up, up, up, down, down, down, down};
    lanes enter = backward ? leave : __builtin_shufflevector(leave, leave, 4, 5, 6, 7, 0, 1, 2, 3);
    /* forward: new M1 = (1 - up) M1 + down M2; backward: new M1 = (1 - up) M1 + up M2 */
    for (int j = 0; j < EACH; j++) {
        lanes other = __builtin_shufflevector(v[j], v[j], 4, 5, 6, 7, 0, 1, 2, 3);
        v[j] = (1 - leave) * v[j] + enter * other;
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
EACH_PART double emit(const grid *g, const evidence *ev, const chain_inputs *in, size_t i,
                      const chain_settings *s, states *out)
{
    saying w = in->says[i];
    double hush = (ev->edge_s[i] - s->hush_lo_s) / (s->hush_hi_s - s->hush_lo_s);
    double frames = ev->hop_s / frame_s;
    double weight = frames * s->temper * w.weight * fmin(fmax(hush, 0), 1);
    double by_place = 0.5 * frames * s->place * in->place[i];
    float may[] = {ev->declared[i] != DECLARED_M2, ev->declared[i] != DECLARED_M1};
    double best = fmax(highest(w, weight, -0.5, g->widest) - by_place,
                       highest(w, weight, 0.5, g->widest) + by_place);
    for (int j = 0; j < EACH; j++)
        for (int k = 0; k < LANES; k++) {
            double c = g->c[j][k];
            out->of[j][k] =
                (float)(weight * (c * w.z - 0.5 * c * c * w.mass) + g->sign[k] * by_place - best);
        }
    lanes_exp(out->of[0], EACH * LANES);
    for (int j = 0; j < EACH; j++)
        for (int k = 0; k < LANES; k++)
            out->of[j][k] = may[k / HALF] * out->of[j][k] + least;
    return best;
}

EACH_PART lanes total(const lanes v[EACH])
{
    return ((v[0] + v[1]) + (v[2] + v[3])) + v[4];
}

EACH_PART float of_m1(lanes sum)
{
    return (sum[0] + sum[1]) + (sum[2] + sum[3]);
}

EACH_PART float of_m2(lanes sum)
{
    return (sum[4] + sum[5]) + (sum[6] + sum[7]);
}

EACH_PART int gap_frames(const evidence *ev, size_t i)
{
    double frames = ev->gap_s[i] / ev->hop_s;
    return frames > 1 ? (int)(frames + 0.5) : 1;
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

EACH_PART void begin(const grid *g, double odds, lanes now[EACH])
{
    float p2 = (float)(1 / (1 + exp(-odds))), p1 = 1 - p2;
    lanes share = {p1, p1, p1, p1, p2, p2, p2, p2};
    for (int j = 0; j < EACH; j++)
        now[j] = load(&g->stationary, j) * share;
}

/* The log-likelihood with flips, and without; opt_alpha[ev->n]: of each frame by what comes before
 * it, up to a factor. A frame is scaled by what the one before it came to, so that none waits for
 * its own sum. */
typedef struct walk { /* of the chain through the frames */
    lanes now[EACH];
    float over;              /* 1 over what the frame before came to */
    double sum_log, product; /* of 1 / over; product: of what is not in sum_log yet */
} walk;

EACH_PART void walk_on(walk *w, const grid *g, const evidence *ev, const chain_inputs *in, size_t i,
                       float up, float down, const states *said)
{
    if (isinf(ev->gap_s[i]))
        begin(g, in->place[i], w->now);
    else
        step_chain(g, w->now, up, down, gap_frames(ev, i), false);
    for (int j = 0; j < EACH; j++)
        w->now[j] *= load(said, j) * w->over;
    w->product *= (double)w->over;
    lanes all = total(w->now);
    w->over = 1 / (of_m1(all) + of_m2(all));
    if (w->product > most_product) {
        w->sum_log -= log(w->product);
        w->product = 1;
    }
}

static double log_of(const walk *w)
{
    return w->sum_log - log(w->product) - log((double)w->over);
}

EACH_PART void go_forward(const grid *g, const evidence *ev, const chain_inputs *in,
                          const states *said, states *opt_alpha, double *log_p, double *opt_without)
{
    walk with = {.over = 1, .product = 1}, without = with;
    for (size_t i = 0; i < ev->n; i++) {
        walk_on(&with, g, ev, in, i, (float)in->up[i], (float)in->down[i], &said[i]);
        if (opt_without)
            walk_on(&without, g, ev, in, i, 0, 0, &said[i]);
        if (opt_alpha)
            memcpy(&opt_alpha[i], with.now, sizeof opt_alpha[i]);
    }
    *log_p = log_of(&with);
    if (opt_without)
        *opt_without = log_of(&without);
}

EACH_PART void go_backward(const grid *g, const evidence *ev, const chain_inputs *in,
                           const states *said, const states *alpha, double *p2)
{
    lanes beta[EACH] = {{0}}, both[EACH];
    for (size_t i = ev->n; i-- > 0;) {
        if (i + 1 == ev->n || isinf(ev->gap_s[i + 1])) {
            for (int j = 0; j < EACH; j++)
                beta[j] = 1 + (lanes){0};
        } else {
            lanes all = total(beta);
            float over = 1 / (of_m1(all) + of_m2(all));
            for (int j = 0; j < EACH; j++)
                beta[j] *= load(&said[i + 1], j) * over;
            step_chain(g, beta, (float)in->up[i + 1], (float)in->down[i + 1], gap_frames(ev, i + 1),
                       true);
        }
        for (int j = 0; j < EACH; j++)
            both[j] = load(&alpha[i], j) * beta[j];
        lanes all = total(both);
        double m1 = (double)of_m1(all), m2 = (double)of_m2(all);
        p2[i] = (m2 + never) / (m1 + m2 + 2 * never);
    }
}

EACH_PROCESSOR static void forward(const grid *g, const evidence *ev, const chain_inputs *in,
                                   const states *said, states *opt_alpha, double *log_p,
                                   double *opt_without)
{
    if (opt_without) /* the two walks wait for themselves, not for each other */
        go_forward(g, ev, in, said, opt_alpha, log_p, opt_without);
    else
        go_forward(g, ev, in, said, opt_alpha, log_p, NULL);
}

EACH_PROCESSOR static void backward(const grid *g, const evidence *ev, const chain_inputs *in,
                                    const states *said, const states *alpha, double *p2)
{
    go_backward(g, ev, in, said, alpha, p2);
}

double chain_run(const evidence *ev, const chain_inputs *in, const chain_settings *s,
                 double *opt_p2, double *opt_without)
{
    grid g = grid_new(s, ev->hop_s);
    states *said = xmalloc(ev->n, sizeof *said);
    states *alpha = opt_p2 ? xmalloc(ev->n, sizeof *alpha) : NULL;
    double scale = emit_all(&g, ev, in, s, said), log_p;
    forward(&g, ev, in, said, alpha, &log_p, opt_without);
    if (opt_without)
        *opt_without += scale;
    if (alpha)
        backward(&g, ev, in, said, alpha, opt_p2);
    free(alpha);
    free(said);
    return scale + log_p;
}
