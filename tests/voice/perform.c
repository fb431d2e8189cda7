/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/perform.h"

#include "base/array.h"
#include "base/note.h"
#include "voice/dice.h"

#include <math.h>
#include <stdlib.h>

enum { GRID = 4, FLIPS_MOST = 64 }; /* the rule and the prediction step by GRID milliseconds */

#define SETTLED_S 0.12 /* an attempt starts this long after onset or flip */
#define NEAR_EDGE_S 0.15
#define NASAL_DB 7 /* softer with the mouth shut */

typedef struct stage {
    const singer *s;
    const score *sc;
    score_line line;
    double *vibrato, *more_h1h2, *more_noise, *formant[TRACT_VOWEL];
    double goal[TRACT_VOWEL]; /* formants of the score's other vowel re the singer's own */
    double mean_db[2];        /* predicted level around the boundary, each register */
    int first;                /* register at the start, 0 or 1 */
    performance p;
} stage;

static double weight_at(const stage *g, double t)
{
    return course_weight(g->first, g->p.flips, g->p.n_flips, t);
}

static double displaced_at(const stage *g, double t)
{
    return course_displaced_st(g->p.flips, g->p.n_flips, t);
}

static double pitch_at(const stage *g, size_t k)
{
    return g->line.pitch_st[k] + g->vibrato[k] + displaced_at(g, (double)k * SCORE_STEP_S);
}

static double meant_db(const stage *g, size_t k)
{
    const singer *s = g->s;
    double trill = s->vibrato_st > 0 ? s->vibrato_db / s->vibrato_st : 0;
    return g->line.level_db[k] + trill * g->vibrato[k] - NASAL_DB * g->line.nasal[k];
}

/* Breathing in, the glottis is wide open: the resonances are dull. */
#define BREATH_DAMPING 4

/* The tract in step k: wandering, a little shorter in M2, with F1 rising with level and kept off
 * the fundamental. An open glottis damps the two lowest resonances. */
static void formants_at(const stage *g, size_t k, double weight, double pitch_st, double te,
                        double f_hz[TRACT_VOWEL], double b_hz[TRACT_VOWEL])
{
    const singer *s = g->s;
    for (int i = 0; i < TRACT_VOWEL; i++) {
        f_hz[i] = s->tract.f_hz[i] * (1 + g->formant[i][k]) * (1 + s->shorter_m2 * weight);
        b_hz[i] = s->tract.b_hz[i] * (i < 2 ? 1 + s->damping * fmax(te - 0.4, 0) : 1);
        if (g->line.morph[k] > 0)
            f_hz[i] *= pow(g->goal[i], g->line.morph[k]);
        if (g->line.gate[k] == 0)
            b_hz[i] *= BREATH_DAMPING;
    }
    double f1 = f_hz[0] * (1 + s->f1_per_db * (meant_db(g, k) - s->boundary.level_db));
    double least = s->f1_follow * note_to_hz(pitch_st);
    f_hz[0] = pow(pow(f1, 8) + pow(least, 8), 0.125) * (1 - 0.4 * g->line.nasal[k]);
    f_hz[1] = pow(pow(f_hz[1], 12) + pow(1.25 * f_hz[0], 12), 1.0 / 12);
}

static double rd_at(const stage *g, size_t k, double weight, double pitch_st)
{
    double soft_edge = 4 * (1 - g->line.gate[k]); /* breathier where the voice sets in and ends */
    return singer_rd(g->s, weight, pitch_st, meant_db(g, k), g->more_h1h2[k] + soft_edge);
}

static double predicted_at(const stage *g, size_t k, double weight, double pitch_st)
{
    lf_pulse pulse = lf_from_rd(rd_at(g, k, weight, pitch_st), singer_ra_factor(g->s, weight));
    tract t = g->s->tract;
    formants_at(g, k, weight, pitch_st, pulse.te, t.f_hz, t.b_hz);
    return tract_pulses_db(&t, &pulse, pitch_st, g->s->rate_hz);
}

/* Level that comes out, without gate and dips. */
static double level_at(const stage *g, size_t k, double weight, double predicted_db)
{
    const singer *s = g->s;
    double mean = (1 - weight) * g->mean_db[0] + weight * g->mean_db[1];
    double gain = (1 - weight) * s->source[0].gain_db + weight * s->source[1].gain_db;
    double ripple = fmin(fmax(s->ripple * (predicted_db - mean), -5), 5);
    return meant_db(g, k) + gain + ripple;
}

static void means(stage *g)
{
    const singer *s = g->s;
    for (int reg = 0; reg < 2; reg++) {
        double sum = 0;
        for (int i = -8; i <= 8; i++) {
            double pitch = s->boundary.pitch_st + i;
            double rd = singer_rd(s, reg, pitch, s->boundary.level_db, 0);
            lf_pulse pulse = lf_from_rd(rd, s->source[reg].ra_factor);
            sum += tract_pulses_db(&s->tract, &pulse, pitch, s->rate_hz);
        }
        g->mean_db[reg] = sum / 17;
    }
}

static void vibrato_fill(stage *g, gsl_rng *r)
{
    const singer *s = g->s;
    size_t n = g->line.n;
    double *rate = xmalloc(n, sizeof *rate), *extent = xmalloc(n, sizeof *extent);
    dice_wander(r, n, SCORE_STEP_S, 0.5, 0.05, rate);
    dice_wander(r, n, SCORE_STEP_S, 0.7, 0.25, extent);
    double phase = dice_between(r, 0, 2 * M_PI), sung_s = 0;
    double sets_in = dice_between(r, 0, 0.6);
    for (size_t k = 0; k < n; k++) {
        phase += 2 * M_PI * s->vibrato_hz * (1 + rate[k]) * SCORE_STEP_S;
        sung_s = g->line.gate[k] > 0 ? sung_s + SCORE_STEP_S : 0;
        double wide = fmin(fmax(1 + extent[k], 0), 1.4) * course_smooth((sung_s - sets_in) / 0.4);
        g->vibrato[k] = s->vibrato_st * g->line.vibrato * wide * sin(phase);
    }
    free(rate);
    free(extent);
}

static void drift_fill(stage *g, int take)
{
    gsl_rng *r = dice_new(g->s->seed, (uint64_t)take, DICE_DRIFT);
    size_t n = g->line.n;
    g->vibrato = xmalloc(n, sizeof *g->vibrato);
    g->more_h1h2 = xmalloc(n, sizeof *g->more_h1h2);
    g->more_noise = xmalloc(n, sizeof *g->more_noise);
    vibrato_fill(g, r);
    dice_wander(r, n, SCORE_STEP_S, 0.5, 1.0, g->more_h1h2);
    dice_wander(r, n, SCORE_STEP_S, 0.3, 1.5, g->more_noise);
    for (int i = 0; i < TRACT_VOWEL; i++) {
        g->formant[i] = xmalloc(n, sizeof *g->formant[i]);
        dice_wander(r, n, SCORE_STEP_S, 0.7, g->s->articulation, g->formant[i]);
    }
    gsl_rng_free(r);
}

/* One flip at time t, with its own leap, span and way back. */
static void flip_add(stage *g, gsl_rng *r, double t, double pitch_st, double level_db, bool at_will)
{
    const singer *s = g->s;
    bool up = weight_at(g, t) < 0.5;
    double vary = fmin(fmax(1 + dice_normal(r, 0.2), 0.6), 1.2);
    double usual = (up ? s->leap_st : -s->leap_st * s->leap_down) * vary;
    double now = displaced_at(g, t);
    bool undoes = now * usual < 0 && fabs(now) > 0.3 * fabs(usual);
    sung_flip f = {.time_s = t, .direction = up ? FLIP_UP : FLIP_DOWN, .at_will = at_will};
    f.span_ms = dice_between(r, s->span_ms[0], s->span_ms[1]);
    f.leap_st = undoes ? -now : usual;
    double settle_s = dice_between(r, 0.2, 0.5);
    f.settle_after_s = dice_between(r, 0.05, 0.25);
    f.settle_s = dice_chance(r, s->settle) && !undoes ? settle_s : 0;
    f.dip_db = -s->dip_db * dice_between(r, 0.3, 1);
    f.pitch_before_st = pitch_st;
    f.level_db = level_db;
    performance *p = &g->p;
    if (p->n_flips < FLIPS_MOST)
        p->flips[p->n_flips++] = f;
}

typedef struct attempt {
    bool open;      /* a threshold has been drawn */
    double start_s; /* not before this */
    double eps;     /* the draw, st */
    double last_z;  /* of the grid point before */
} attempt;

/* One grid point of the rule: z is how far the pitch is past the boundary, positive once past. */
static void rule_step(stage *g, gsl_rng *r, attempt *a, size_t k)
{
    const singer *s = g->s;
    double t = (double)k * SCORE_STEP_S, w = weight_at(g, t);
    if (t < a->start_s)
        return;
    double pitch = pitch_at(g, k);
    double level = level_at(g, k, w, predicted_at(g, k, w, pitch));
    double z = w < 0.5 ? pitch - singer_up_st(s, level) : singer_down_st(s, level) - pitch;
    if (!a->open) {
        a->eps = dice_normal_above(r, s->boundary.spread, z);
        a->open = true;
    } else if (z > a->eps) {
        double back = fmin((z - a->eps) / (z - a->last_z), 1) * GRID * SCORE_STEP_S;
        double met = w < 0.5 ? singer_up_st(s, level) + a->eps : singer_down_st(s, level) - a->eps;
        flip_add(g, r, t - back, met, level, false);
        *a = (attempt){.start_s = t + SETTLED_S};
        return;
    }
    a->last_z = z;
}

/* Whether the voice sounds in step k and is not about to end. */
static bool well_inside(const stage *g, size_t k)
{
    size_t ahead = k + (size_t)(NEAR_EDGE_S / SCORE_STEP_S);
    return g->line.gate[k] > 0.99 && ahead < g->line.n && g->line.gate[ahead] > 0.99;
}

static int register_at_start(const stage *g, gsl_rng *r, size_t k)
{
    const singer *s = g->s;
    if (g->sc->held)
        return g->sc->held - 1;
    double pitch = g->line.pitch_st[k], level = meant_db(g, k);
    bool either = dice_chance(r, 0.5);
    if (pitch >= singer_up_st(s, level))
        return 1;
    return pitch <= singer_down_st(s, level) ? 0 : either;
}

static void let_flip(stage *g, gsl_rng *r)
{
    attempt a = {0};
    for (size_t k = 0; k < g->line.n; k += GRID) {
        if (well_inside(g, k))
            rule_step(g, r, &a, k);
        else
            a = (attempt){.start_s = (double)k * SCORE_STEP_S + SETTLED_S};
    }
}

/* Until the next flip at will. */
static double pause_draw(const stage *g, gsl_rng *r)
{
    double rate = g->sc->rate_hz;
    return rate > 0 ? dice_between(r, 0.8, 1.25) / rate : dice_between(r, 0.5, 1.3);
}

static void flip_at_will(stage *g, gsl_rng *r)
{
    double next = 0;
    for (size_t k = 0; k < g->line.n; k += GRID) {
        double t = (double)k * SCORE_STEP_S;
        if (!well_inside(g, k)) {
            next = t + dice_between(r, 0.5, 1.2);
        } else if (t >= next) {
            double pitch = pitch_at(g, k), w = weight_at(g, t);
            flip_add(g, r, t, pitch, level_at(g, k, w, predicted_at(g, k, w, pitch)), true);
            next = t + pause_draw(g, r);
        }
    }
}

static void flips_place(stage *g, int take)
{
    gsl_rng *r = dice_new(g->s->seed, (uint64_t)take, DICE_FLIPS);
    g->p.flips = xcalloc(FLIPS_MOST, sizeof *g->p.flips);
    size_t on = 0;
    while (on < g->line.n && g->line.gate[on] < 0.99)
        on++;
    if (on < g->line.n) {
        g->first = register_at_start(g, r, on);
        if (g->sc->kind == SCORE_ATWILL)
            flip_at_will(g, r);
        else if (!g->sc->held)
            let_flip(g, r);
    }
    gsl_rng_free(r);
}

static void predict(stage *g)
{
    performance *p = &g->p;
    for (size_t k = 0; k < p->n; k += GRID)
        p->predicted_db[k] = p->gate[k] > 0 ? predicted_at(g, k, p->weight[k], p->pitch_st[k])
                                            : (g->mean_db[0] + g->mean_db[1]) / 2;
    for (size_t k = 0; k < p->n; k++) {
        size_t lo = k / GRID * GRID, hi = lo + GRID < p->n ? lo + GRID : lo;
        double share = (double)(k - lo) / GRID;
        p->predicted_db[k] = (1 - share) * p->predicted_db[lo] + share * p->predicted_db[hi];
    }
}

/* Flips at will on syllables: the mouth follows the folds within about a twentieth of a second. */
static void vowels_follow(stage *g)
{
    double slow = g->first;
    for (size_t k = 0; k < g->line.n; k++) {
        slow += (weight_at(g, (double)k * SCORE_STEP_S) - slow) * SCORE_STEP_S / 0.05;
        g->line.morph[k] = slow;
    }
}

/* The mouth shuts for a nasal or a liquid at six in ten flips, each somewhere in it. */
static void consonants_follow(stage *g, int take)
{
    gsl_rng *r = dice_new(g->s->seed ^ 0x1117, (uint64_t)take, DICE_FLIPS);
    for (size_t i = 0; i < g->p.n_flips; i++) {
        double lasts = dice_between(r, 0.05, 0.1), edge = dice_between(r, 0.01, 0.03);
        double at = g->p.flips[i].time_s - lasts * dice_between(r, 0, 1);
        if (!dice_chance(r, 0.6))
            continue;
        for (size_t k = 0; k < g->line.n; k++) {
            double t = (double)k * SCORE_STEP_S;
            g->line.nasal[k] = fmax(g->line.nasal[k], course_within(t, at, at + lasts, edge));
        }
    }
    gsl_rng_free(r);
}

static void fill(stage *g)
{
    performance *p = &g->p;
    const singer *s = g->s;
    if (g->sc->kind == SCORE_ATWILL && g->sc->vowel_b)
        vowels_follow(g);
    for (size_t k = 0; k < p->n; k++) {
        double t = (double)k * SCORE_STEP_S, w = weight_at(g, t);
        p->gate[k] = g->line.gate[k];
        p->breath[k] = g->line.breath[k];
        p->doubled[k] = g->line.doubled[k];
        p->hiss[k] = g->line.hiss[k];
        p->weight[k] = w;
        p->pitch_st[k] = pitch_at(g, k);
        p->rd[k] = rd_at(g, k, w, p->pitch_st[k]);
        p->ra_factor[k] = singer_ra_factor(s, w);
        p->jitter[k] = s->jitter * course_rough(p->flips, p->n_flips, s->rough, t);
        double softer = fmin(fmax(s->boundary.level_db - meant_db(g, k), -10), 15);
        p->noise_db[k] = (1 - w) * s->source[0].noise_db + w * s->source[1].noise_db +
                         0.3 * softer + g->more_noise[k];
        double te = lf_open(p->rd[k]);
        formants_at(g, k, w, p->pitch_st[k], te, &p->formant_hz[k * TRACT_VOWEL],
                    &p->bandwidth_hz[k * TRACT_VOWEL]);
        p->reg[k] = p->gate[k] < 0.1 ? 0 : w < 0.5 ? 1 : 2;
    }
    predict(g);
    for (size_t k = 0; k < p->n; k++)
        p->level_db[k] = p->gate[k] > 0
                             ? level_at(g, k, p->weight[k], p->predicted_db[k]) +
                                   20 * log10(p->gate[k]) +
                                   course_dip_db(p->flips, p->n_flips, (double)k * SCORE_STEP_S)
                             : -INFINITY;
}

/* The singer's own tract on both vowels, from the same draws. */
static void goal_fill(stage *g)
{
    const singer *s = g->s;
    tract here, there;
    for (int i = 0; i < TRACT_VOWEL; i++)
        g->goal[i] = 1;
    if (!g->sc->vowel_b)
        return;
    gsl_rng *r = dice_new(s->seed, 5, DICE_SINGER), *same = gsl_rng_clone(r);
    if (tract_draw(r, s->woman, s->vowel, s->rate_hz, &here) &&
        tract_draw(same, s->woman, g->sc->vowel_b, s->rate_hz, &there))
        for (int i = 0; i < TRACT_VOWEL; i++)
            g->goal[i] = there.f_hz[i] / here.f_hz[i];
    gsl_rng_free(r);
    gsl_rng_free(same);
}

static void performance_new(performance *p, size_t n)
{
    double **all[] = {&p->pitch_st, &p->level_db,     &p->gate,      &p->breath,
                      &p->weight,   &p->rd,           &p->ra_factor, &p->noise_db,
                      &p->jitter,   &p->predicted_db, &p->doubled,   &p->hiss};
    p->n = n;
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        *all[i] = xcalloc(n, sizeof **all[i]);
    p->formant_hz = xcalloc(n * TRACT_VOWEL, sizeof *p->formant_hz);
    p->bandwidth_hz = xcalloc(n * TRACT_VOWEL, sizeof *p->bandwidth_hz);
    p->reg = xcalloc(n, sizeof *p->reg);
}

performance perform(const singer *s, const score *sc, int take)
{
    stage g = {.s = s, .sc = sc};
    g.line = score_write(sc, s, take);
    performance_new(&g.p, g.line.n);
    goal_fill(&g);
    drift_fill(&g, take);
    means(&g);
    flips_place(&g, take);
    if (s->family == FAMILY_LILT && sc->kind == SCORE_ATWILL)
        consonants_follow(&g, take);
    fill(&g);
    score_line_clear(&g.line);
    free(g.vibrato);
    free(g.more_h1h2);
    free(g.more_noise);
    for (int i = 0; i < TRACT_VOWEL; i++)
        free(g.formant[i]);
    return g.p;
}

void performance_clear(performance *p)
{
    double *all[] = {p->pitch_st,  p->level_db, p->gate,   p->breath,       p->weight,  p->rd,
                     p->ra_factor, p->noise_db, p->jitter, p->predicted_db, p->doubled, p->hiss};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        free(all[i]);
    free(p->formant_hz);
    free(p->bandwidth_hz);
    free(p->reg);
    free(p->flips);
    *p = (performance){0};
}
