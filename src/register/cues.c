/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/cues.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double sure_s = 0.1, about_s = 0.08, step_about_s = 0.06, quick_s = 0.02;
static const double slip = 0.003; /* that the chain is wrong however sure it is */
static const double odd_slip = 0.3;
static const double far_lo_s = 0.04, far_hi_s = 0.25, near_lo_s = 0.015, near_hi_s = 0.08;
static const double least_stay_s = 0.03, sung_s = 0.01;
static const double most_slide_leap_st = 6, most_slide = 4;
static const double most_leap_st = 4, wrong_leap_st = 0.5, clear_leap_st = 1.5;
enum { COMPARED = 8 }; /* harmonics of the source's step */

const char *cue_name(cue c)
{
    static const char *const names[CUES] = {[CUE_CHAIN] = "chain",
                                            [CUE_LEAP] = "leap_st",
                                            [CUE_SPEED] = "speed_st",
                                            [CUE_SLIDE] = "slide",
                                            [CUE_KINK] = "kink",
                                            [CUE_TRIP] = "trip",
                                            [CUE_PITCH_BREAK] = "pitch_break",
                                            [CUE_LEVEL_BREAK] = "level_break",
                                            [CUE_STEP] = "step_nats",
                                            [CUE_ODD] = "odd",
                                            [CUE_DIP] = "dip_db",
                                            [CUE_FALL] = "fall_db",
                                            [CUE_FAR] = "far",
                                            [CUE_NEAR] = "near",
                                            [CUE_STAY_BEFORE] = "stay_before",
                                            [CUE_STAY_AFTER] = "stay_after",
                                            [CUE_EDGE_AFTER] = "edge_after",
                                            [CUE_PAUSE] = "pause_s",
                                            [CUE_PLACE] = "place",
                                            [CUE_BRIEF] = "brief",
                                            [CUE_GAIN] = "gain_nats_per_s",
                                            [CUE_SOURCE] = "source",
                                            [CUE_SIZE] = "size_db",
                                            [CUE_LEAPS] = "leaps_st",
                                            [CUE_WRONG] = "wrong_leaps",
                                            [CUE_LEFT] = "leaps_left",
                                            [CUE_GLIDES] = "glides_nats",
                                            [CUE_PITCH] = "pitch_per_st",
                                            [CUE_VOICED] = "log_voiced_s",
                                            [CUE_TOLD] = "log_told_s",
                                            [CUE_COMPANY] = "company_nats"};
    return names[c];
}

/* The highest probability of a register in frames from..to. */
static double highest(const double *p2, size_t from, size_t to, bool m2)
{
    double best = 0;
    for (size_t j = from; j <= to; j++)
        best = fmax(best, m2 ? p2[j] : 1 - p2[j]);
    return best;
}

/* A change of register, and the stretch of voice lo..hi around it. */
typedef struct view {
    const cues_of *of;
    const turn *c;
    size_t lo, hi;
    double way; /* 1 up, -1 down */
} view;

static view view_of(const cues_of *of, const turn *c)
{
    view v = {of, c, c->at, c->at, c->up ? 1 : -1};
    while (v.lo > 0 && !isinf(of->ev->gap_s[v.lo]))
        v.lo--;
    while (v.hi + 1 < of->ev->n && !isinf(of->ev->gap_s[v.hi + 1]))
        v.hi++;
    return v;
}

/* The frames of the stretch within so long of the change. */
static void window(const view *v, double s, size_t *from, size_t *to)
{
    size_t reach = evidence_frames(v->of->ev, s), at = v->c->at;
    *from = at > v->lo + reach ? at - reach : v->lo;
    *to = at + reach < v->hi ? at + reach : v->hi;
}

static double chain_cue(const view *v)
{
    const turn *c = v->c;
    const double *p2 = v->of->p2;
    size_t reach = evidence_frames(v->of->ev, sure_s);
    size_t from = c->at > c->first + reach ? c->at - reach : c->first;
    size_t to = c->at + reach < c->last ? c->at + reach : c->last;
    double before = c->at > from ? highest(p2, from, c->at - 1, !c->up) : 0;
    return -log(1 - before * highest(p2, c->at, to, c->up) + slip);
}

static size_t largest_leap(const evidence *ev, size_t from, size_t to)
{
    size_t at = from;
    for (size_t j = from; j <= to; j++)
        at = fabs(ev->leap_st[j]) > fabs(ev->leap_st[at]) ? j : at;
    return at;
}

/* Of a short trip the leap that goes the way of the change: the other may be larger. */
static size_t leap_of(const view *v, size_t from, size_t to)
{
    const evidence *ev = v->of->ev;
    size_t at = largest_leap(ev, from, to);
    for (size_t j = from; v->way * ev->leap_st[at] < 0 && j <= to; j++)
        at = ev->trip[j] > 0 && v->way * ev->leap_st[j] > 0 ? j : at;
    return at;
}

/* No voice goes by five semitones in 40 ms but into another register: it takes 130 (Xu and Sun
 * 2002, Maximum speed of pitch change; from memory). Ornaments come near, and much voice tells its
 * flips without that. */
static const double kink_st[] = {3, 5}, kinks[] = {0.2, 0.6}, little_s = 20;

static double kink_cue(const evidence *ev, size_t at, double leap_st)
{
    double plain = (leap_st - kink_st[0]) / (kink_st[1] - kink_st[0]);
    double little = 1 - (double)ev->n * ev->hop_s / little_s;
    double kink = isnan(ev->kink[at]) ? 0 : ev->kink[at] * fmax(0, fmin(plain, 1));
    return kinks[0] + fmax(0, little) * (fmax(kinks[0], fmin(kink, kinks[1])) - kinks[0]);
}

static void pitch_cues(const view *v, double out[CUES])
{
    const evidence *ev = v->of->ev;
    size_t from, to, half = evidence_frames(ev, quick_s);
    window(v, about_s, &from, &to);
    size_t at = leap_of(v, from, to);
    double leap = ev->leap_st[at], speed = 0;
    for (size_t j = from; j <= to; j++) {
        if (j < v->lo + half || j + half > v->hi)
            continue;
        double move = ev->pitch_st[j + half] - ev->pitch_st[j - half];
        speed = fabs(move) > fabs(speed) ? move : speed;
    }
    out[CUE_LEAP] = v->way * leap;
    out[CUE_SPEED] = v->way * speed;
    out[CUE_KINK] = kink_cue(ev, at, v->way * leap);
    out[CUE_TRIP] = v->way * leap > 0 ? ev->trip[at] : 0;
    out[CUE_SLIDE] =
        fmax(0, fmin(v->way * leap, most_slide_leap_st)) * fmin(ev->slide[at], most_slide);
}

static void break_cues(const view *v, double out[CUES])
{
    const evidence *ev = v->of->ev;
    size_t from, to;
    window(v, step_about_s, &from, &to);
    for (size_t j = from; j <= to; j++) {
        double pitch = v->way * ev->pitch_break[j], level = fabs(ev->level_break[j]);
        out[CUE_PITCH_BREAK] = j == from ? pitch : fmax(out[CUE_PITCH_BREAK], pitch);
        out[CUE_LEVEL_BREAK] = fmax(out[CUE_LEVEL_BREAK], level);
    }
}

static void step_cues(const view *v, double out[CUES])
{
    const evidence *ev = v->of->ev;
    const harmonic_step *steps = v->of->steps;
    size_t from, to;
    bool any = false;
    window(v, step_about_s, &from, &to);
    for (size_t j = from; j <= to; j++) {
        double nats = v->way * (double)steps[j].cross - 0.5 * (double)steps[j].square;
        if (steps[j].square <= 0 || (any && nats <= out[CUE_STEP]))
            continue;
        any = true;
        out[CUE_STEP] = nats;
        out[CUE_ODD] = log((double)steps[j].odd + odd_slip);
    }
    for (size_t j = from; j <= to; j++)
        if (!isnan(ev->dip_db[j]))
            out[CUE_DIP] = j == from ? ev->dip_db[j] : fmax(out[CUE_DIP], ev->dip_db[j]);
    window(v, about_s, &from, &to);
    for (size_t j = from; j <= to; j++)
        if (!isnan(ev->step_db[j]))
            out[CUE_FALL] = fmax(out[CUE_FALL], -v->way * ev->step_db[j]);
}

/* The register coordinate of the frames lo_s..hi_s before (way < 0) or after the change, as far as
 * nothing else changes; NaN where nothing is sung. */
static double coordinate(const view *v, int side, double lo_s, double hi_s)
{
    const evidence *ev = v->of->ev;
    long at = (long)v->c->at, lo = (long)evidence_frames(ev, lo_s);
    long hi = (long)evidence_frames(ev, hi_s);
    double z = 0, mass = 0;
    for (long k = lo; k <= hi; k++) {
        long j = at + side * k;
        if (j < (long)v->c->first || j > (long)v->c->last)
            break;
        const saying *s = &v->of->says[j];
        if (ev->edge_s[j] < sung_s)
            continue;
        z += s->weight * s->z;
        mass += s->weight * s->mass;
    }
    return mass > 0 ? z / mass : (double)NAN;
}

static double coordinate_step(const view *v, double lo_s, double hi_s)
{
    double step = v->way * (coordinate(v, 1, lo_s, hi_s) - coordinate(v, -1, lo_s, hi_s));
    return isnan(step) ? odd_slip : step;
}

static double log_time(const view *v, size_t from, size_t to)
{
    return log(fmax(least_stay_s, (double)(to - from) * v->of->ev->hop_s));
}

/* Frames follow each other at hop_s, or 1.5 times that where a stretch ends. */
static double pause_cue(const view *v)
{
    const evidence *ev = v->of->ev;
    size_t from, to;
    double longest = 0;
    window(v, about_s, &from, &to);
    for (size_t j = from + 1; j <= to; j++)
        longest = fmax(longest, ev->gap_s[j] - 1.5 * ev->hop_s);
    return longest;
}

static void own_cues(const view *v, const double *odds, double out[CUES])
{
    const turn *c = v->c;
    out[CUE_CHAIN] = chain_cue(v);
    pitch_cues(v, out);
    break_cues(v, out);
    step_cues(v, out);
    out[CUE_FAR] = coordinate_step(v, far_lo_s, far_hi_s);
    out[CUE_NEAR] = coordinate_step(v, near_lo_s, near_hi_s);
    out[CUE_STAY_BEFORE] = log_time(v, c->first, c->at);
    out[CUE_STAY_AFTER] = log_time(v, c->at, c->last);
    out[CUE_EDGE_AFTER] = log_time(v, c->at, v->hi);
    out[CUE_PAUSE] = pause_cue(v);
    out[CUE_PLACE] = v->way * odds[c->at];
    out[CUE_BRIEF] = c->brief;
}

/* How the step of the source goes with the one that is expected, over the first harmonics. */
static void source_cues(const model *m, double out[CUES])
{
    const double *d = m->beta + MODEL_D;
    double mean_d = 0, mean_e = 0, dd = 0, ee = 0, de = 0, expected[COMPARED];
    for (int h = 0; h < COMPARED; h++) {
        expected[h] = model_expected_step(h);
        mean_d += d[h] / COMPARED;
        mean_e += expected[h] / COMPARED;
    }
    for (int h = 0; h < COMPARED; h++) {
        double x = d[h] - mean_d, y = expected[h] - mean_e;
        dd += x * x;
        ee += y * y;
        de += x * y;
    }
    out[CUE_SOURCE] = dd > 0 ? de / sqrt(dd * ee) : 0;
    out[CUE_SIZE] = sqrt(dd / COMPARED);
}

/* Whether a change goes the way of the leap at frame i and is near enough. */
static bool explained(const evidence *ev, size_t i, const turns *c)
{
    size_t reach = evidence_frames(ev, about_s);
    for (size_t k = 0; k < c->n; k++) {
        const turn *t = &c->items[k];
        size_t off = t->at > i ? t->at - i : i - t->at;
        if (off <= reach && t->up == (ev->leap_st[i] > 0) && i >= t->first && i <= t->last)
            return true;
    }
    return false;
}

static double left_cue(const evidence *ev, const turns *c)
{
    double all = most_leap_st, left = 0;
    for (size_t i = 0; i < ev->n; i++) {
        double size = fmin(fabs(ev->leap_st[i]), most_leap_st);
        if (size < clear_leap_st)
            continue;
        all += size;
        left += explained(ev, i, c) ? 0 : size;
    }
    return left / all;
}

/* Of flips, which take 10 to 100 ms, 9 in 20 have a kink; of glides of 80 ms and more 1 in 20 at
 * most: the quickest has 0.18. Smaller leaps may be steps of a melody. */
static const double kinked = 0.22, glide_leap_st = 3;
static const double nats_of_kink = 2.2, nats_of_glide = -0.55, least_glides = -12;

static double glides_cue(const cues_of *of, const turns *found)
{
    double nats = 0;
    for (size_t k = 0; k < found->n; k++) {
        size_t from, to;
        view v = view_of(of, &found->items[k]);
        window(&v, about_s, &from, &to);
        size_t at = largest_leap(of->ev, from, to);
        double kink = of->ev->kink[at];
        if (v.way * of->ev->leap_st[at] >= glide_leap_st && !isnan(kink))
            nats += kink > kinked ? nats_of_kink : nats_of_glide;
    }
    return fmax(least_glides, fmin(nats, 0));
}

static void singer_cues(const cues_of *of, const turns *found, double (*out)[CUES])
{
    size_t n = found->n;
    double all[CUES] = {0};
    source_cues(of->m, all);
    all[CUE_GAIN] = of->gain / ((double)of->ev->n * of->ev->hop_s);
    all[CUE_GLIDES] = glides_cue(of, found);
    all[CUE_LEFT] = left_cue(of->ev, found);
    all[CUE_PITCH] = of->where->pitch;
    all[CUE_VOICED] = log((double)of->ev->n * of->ev->hop_s);
    all[CUE_TOLD] = log(1 + evidence_told_s(of->ev));
    for (size_t k = 0; k < n; k++) {
        double leap = out[k][CUE_LEAP];
        all[CUE_LEAPS] += fmax(-most_leap_st, fmin(leap, most_leap_st)) / (double)n;
        all[CUE_WRONG] += leap < -wrong_leap_st ? 1 / (double)n : 0;
    }
    for (size_t k = 0; k < n; k++)
        for (int c = CUE_GAIN; c < CUE_COMPANY; c++)
            out[k][c] = all[c];
}

void cues_measure(const cues_of *of, const turns *c, double (*out)[CUES])
{
    if (!c->n)
        return;
    double *odds = xmalloc(of->ev->n, sizeof *odds);
    place_measure(of->ev, of->where, odds);
    for (size_t k = 0; k < c->n; k++) {
        view v = view_of(of, &c->items[k]);
        memset(out[k], 0, sizeof out[k]);
        own_cues(&v, odds, out[k]);
    }
    singer_cues(of, c, out);
    free(odds);
}
