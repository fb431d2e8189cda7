/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/chain.h"

#include "base/array.h"
#include "base/lanes_math.h"
#include "register/chain_grid.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double frame_s = 0.005;
static const double never = 1e-37; /* where neither register goes with its neighbours */
/* Likelihood of a state that is barred, and what a state has at the least of its register: their
 * product is no denormal, at which a processor would stall. */
static const float least = 1e-17f;
static const float least_begun = 1e-12f; /* of a register where a stretch of voice begins */
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

EACH_PART lanes load(const states *s, int j)
{
    lanes v;
    memcpy(&v, s->of[j], sizeof v);
    return v;
}

/* What each register keeps before a leap that tells the one or the other. */
EACH_PART void tell_before(double told, lanes v[EACH])
{
    float m1 = told < 0 ? expf((float)told) : 1, m2 = told > 0 ? expf((float)-told) : 1;
    lanes keeps = {m1, m1, m1, m1, m2, m2, m2, m2};
    for (int j = 0; j < EACH; j++)
        v[j] = v[j] * keeps;
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
    double best = w.mass > 0 ? w.z / w.mass : copysign(INFINITY, w.z), lo = middle - reach;
    double hi = middle + reach, c = best < lo ? lo : best > hi ? hi : best;
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
    double weight = frames * s->temper * w.weight * (hush < 0 ? 0 : hush > 1 ? 1 : hush);
    double by_place = 0.5 * frames * s->place * in->place[i];
    int may1 = -(ev->declared[i] != DECLARED_M2), may2 = -(ev->declared[i] != DECLARED_M1);
    lane_bits may = {may1, may1, may1, may1, may2, may2, may2, may2};
    double m1 = highest(w, weight, -0.5, g->widest) - by_place;
    double m2 = highest(w, weight, 0.5, g->widest) + by_place;
    double best = !may2 ? m1 : !may1 || m2 > m1 ? m2 : m1;
    float z = (float)(weight * w.z), mass = (float)(0.5 * weight * w.mass);
    lanes fixed = (float)by_place * lanes_load(g->sign) - (float)best;
    for (int j = 0; j < EACH; j++) {
        lanes c = lanes_load(g->c[j]);
        lanes says = lanes_exp_of(c * (z - c * mass) + fixed);
        lanes_store(out->of[j], lanes_where(may, says) + least);
    }
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

typedef struct stretch { /* of voice: frames first..end - 1 */
    size_t first, end;
    states *said;      /* [end - first] likelihood of each frame */
    states *opt_alpha; /* likewise of it and those before it, up to a factor */
} stretch;

/* Returns the sum of the logs of the frames' scales. */
EACH_PROCESSOR static double emit_all(const grid *g, const evidence *ev, const chain_inputs *in,
                                      const chain_settings *s, const stretch *v)
{
    double sum_log = 0;
    for (size_t i = v->first; i < v->end; i++)
        sum_log += emit(g, ev, in, i, s, &v->said[i - v->first]);
    return sum_log;
}

EACH_PART void begin(const grid *g, double odds, lanes now[EACH])
{
    float p2 = fmaxf((float)(1 / (1 + exp(-odds))), least_begun), p1 = fmaxf(1 - p2, least_begun);
    lanes share = {p1, p1, p1, p1, p2, p2, p2, p2};
    for (int j = 0; j < EACH; j++)
        now[j] = load(&g->stationary, j) * share;
}

/* 1 over the sum of what the states have, and `least` of each register's, so scaled; of both
 * registers, or of each apart. */
typedef struct scale {
    lanes over, floor;
} scale;

EACH_PART scale scale_of(const lanes v[EACH], bool apart)
{
    lanes all = total(v);
    float m1 = of_m1(all), m2 = of_m2(all);
    float over1 = 1 / (apart ? m1 : m1 + m2), over2 = apart ? 1 / m2 : over1;
    float low1 = least * over1 * m1, low2 = least * over2 * m2;
    return (scale){{over1, over1, over1, over1, over2, over2, over2, over2},
                   {low1, low1, low1, low1, low2, low2, low2, low2}};
}

EACH_PART void hear(lanes v[EACH], const states *said, const scale *by)
{
    for (int j = 0; j < EACH; j++)
        v[j] = v[j] * (load(said, j) * by->over) + by->floor;
}

/* Of the chain through a stretch of voice. Without flips each register is scaled by itself: the one
 * may fall beyond a float's reach of the other and come back. A frame is scaled by what the one
 * before it came to, so that none waits for its own sum. */
typedef struct walk {
    lanes now[EACH];
    scale by;
    double sum_log[2], product[2]; /* of M1, M2: of 1 / over; product: of what is not in sum_log */
} walk;

EACH_PART void walk_begin(walk *w, const grid *g, double odds)
{
    *w = (walk){.by = {1 + (lanes){0}, {0}}, .product = {1, 1}};
    begin(g, odds, w->now);
}

EACH_PART void walk_hear(walk *w, const states *said, bool apart)
{
    hear(w->now, said, &w->by);
    for (int k = 0; k < (apart ? 2 : 1); k++) {
        w->product[k] *= (double)w->by.over[k * HALF];
        if (w->product[k] > most_product) {
            w->sum_log[k] -= log(w->product[k]);
            w->product[k] = 1;
        }
    }
    w->by = scale_of(w->now, apart);
}

static double log_of(const walk *w, int k)
{
    return w->sum_log[k] - log(w->product[k]) - log((double)w->by.over[k * HALF]);
}

/* Adds to the log-likelihood with flips, and without. */
EACH_PART void go_forward(const grid *g, const evidence *ev, const chain_inputs *in,
                          const stretch *v, double *log_p, double *opt_without)
{
    walk with, without;
    walk_begin(&with, g, in->place[v->first]);
    walk_begin(&without, g, in->place[v->first]);
    for (size_t i = v->first; i < v->end; i++) {
        if (i > v->first) {
            int frames = gap_frames(ev, i);
            if (in->opt_told && in->opt_told[i] != 0)
                tell_before(in->opt_told[i], with.now);
            step_chain(g, with.now, (float)in->up[i], (float)in->down[i], frames, false);
            if (opt_without)
                step_chain(g, without.now, 0, 0, frames, false);
        }
        walk_hear(&with, &v->said[i - v->first], false);
        if (opt_without)
            walk_hear(&without, &v->said[i - v->first], true);
        if (v->opt_alpha)
            memcpy(&v->opt_alpha[i - v->first], with.now, sizeof *v->opt_alpha);
    }
    *log_p += log_of(&with, 0);
    if (opt_without) {
        double m1 = log_of(&without, 0), m2 = log_of(&without, 1);
        *opt_without += fmax(m1, m2) + log1p(exp(-fabs(m1 - m2)));
    }
}

EACH_PART void go_backward(const grid *g, const evidence *ev, const chain_inputs *in,
                           const stretch *v, double *p2)
{
    lanes beta[EACH], both[EACH];
    for (int j = 0; j < EACH; j++)
        beta[j] = 1 + (lanes){0};
    for (size_t i = v->end; i-- > v->first;) {
        if (i + 1 < v->end) {
            scale by = scale_of(beta, false);
            hear(beta, &v->said[i + 1 - v->first], &by);
            step_chain(g, beta, (float)in->up[i + 1], (float)in->down[i + 1], gap_frames(ev, i + 1),
                       true);
            if (in->opt_told && in->opt_told[i + 1] != 0)
                tell_before(in->opt_told[i + 1], beta);
        }
        for (int j = 0; j < EACH; j++)
            both[j] = load(&v->opt_alpha[i - v->first], j) * beta[j];
        lanes all = total(both);
        double m1 = (double)of_m1(all), m2 = (double)of_m2(all);
        p2[i] = (m2 + never) / (m1 + m2 + 2 * never);
    }
}

EACH_PROCESSOR static void forward(const grid *g, const evidence *ev, const chain_inputs *in,
                                   const stretch *v, double *log_p, double *opt_without)
{
    if (opt_without) /* the two walks wait for themselves, not for each other */
        go_forward(g, ev, in, v, log_p, opt_without);
    else
        go_forward(g, ev, in, v, log_p, NULL);
}

EACH_PROCESSOR static void backward(const grid *g, const evidence *ev, const chain_inputs *in,
                                    const stretch *v, double *p2)
{
    go_backward(g, ev, in, v, p2);
}

static size_t stretch_end(const evidence *ev, size_t first)
{
    while (++first < ev->n && !isinf(ev->gap_s[first])) {
    }
    return first;
}

double chain_run(const evidence *ev, const chain_inputs *in, const chain_settings *s,
                 double *opt_p2, double *opt_without)
{
    grid g = grid_new(s->drift_sd, s->drift_s, ev->hop_s);
    double with = 0, without = 0;
    size_t longest = 0;
    for (size_t at = 0; at < ev->n; at = stretch_end(ev, at))
        longest = stretch_end(ev, at) - at > longest ? stretch_end(ev, at) - at : longest;
    stretch v = {.said = xmalloc(longest, sizeof *v.said),
                 .opt_alpha = opt_p2 ? xmalloc(longest, sizeof *v.opt_alpha) : NULL};
    for (; v.first < ev->n; v.first = v.end) {
        v.end = stretch_end(ev, v.first);
        double scales = emit_all(&g, ev, in, s, &v);
        with += scales;
        without += scales;
        forward(&g, ev, in, &v, &with, opt_without ? &without : NULL);
        if (opt_p2)
            backward(&g, ev, in, &v, opt_p2);
    }
    if (opt_without)
        *opt_without = without;
    free(v.opt_alpha);
    free(v.said);
    return with;
}
