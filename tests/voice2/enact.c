/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/enact.h"

#include "base/array.h"
#include "base/note.h"
#include "voice2/chance.h"
#include "voice2/glottis.h"

#include <math.h>
#include <stdlib.h>

enum { EVERY = 4, TURNS_MOST = 80 }; /* the rule steps by EVERY milliseconds */

#define REST_S 0.12 /* an attempt starts this long after onset or flip */
#define EDGE_S 0.15 /* no flip so near the end of voicing */

typedef struct stage {
    const vocalist *v;
    const chart *c;
    double *vibrato, *more_h1h2, *more_air, *formant[THROAT_FORMANTS];
    double usual_db[2];        /* predicted level about the boundary, each register */
    double shift_st;           /* the take's own, of the boundary */
    bool light;                /* begins in M2 */
    double goal[THROAT_VOWEL]; /* formants of the other vowel, re the singer's */
    act a;
} stage;

static double second(size_t k)
{
    return (double)k * CHART_STEP_S;
}

static double weight_at(const stage *g, double t)
{
    return turn_weight(g->light, g->a.turns, g->a.n_turns, t);
}

static double pitch_at(const stage *g, size_t k)
{
    return g->a.line.pitch_st[k] + g->vibrato[k] +
           turn_away_st(g->a.turns, g->a.n_turns, second(k));
}

static double meant_db(const stage *g, size_t k)
{
    const vocalist *v = g->v;
    double wave = v->vibrato_st > 0 ? g->vibrato[k] / v->vibrato_st : 0;
    return g->a.line.level_db[k] + v->vibrato_db * wave - 7 * g->a.line.closure[k];
}

/* F1 drawn to a harmonic in M2, as far as the singer does that: not over more than a quarter. */
static double tuned(const vocalist *v, double f1_hz, double weight, double f0_hz)
{
    if (!v->tune)
        return f1_hz;
    double way = fmin(fmax(v->tune * f0_hz / f1_hz - 1, -0.25), 0.25);
    return f1_hz * (1 + weight * v->tune_share * way);
}

static throat throat_at(const stage *g, size_t k, double weight, double pitch_st)
{
    const vocalist *v = g->v;
    const contour *l = &g->a.line;
    throat t = v->throat;
    for (int i = 0; i < THROAT_FORMANTS; i++) {
        double to = i < THROAT_VOWEL ? pow(g->goal[i], l->morph[k]) * exp2(l->mouth[i][k]) : 1;
        t.f_hz[i] *= to * (1 + g->formant[i][k]) * (1 + v->shorter_m2 * weight);
    }
    t.f_hz[0] *= 1 + v->f1_per_db * (meant_db(g, k) - v->middle_db);
    t.f_hz[0] = tuned(v, t.f_hz[0], weight, note_to_hz(pitch_st));
    t.f_hz[0] *= 1 - 0.4 * l->closure[k]; /* lips or tongue shut: F1 falls */
    t.f_hz[1] = fmax(t.f_hz[1], t.f_hz[0] + 150);
    t.f_hz[2] = fmax(t.f_hz[2], t.f_hz[1] + 200);
    return t;
}

static double open_at(const stage *g, size_t k, double weight, double pitch_st)
{
    const contour *l = &g->a.line;
    double slack = 3 * (1 - l->gate[k]); /* looser folds where the voice sets in and ends */
    slack += 6 * l->whistle[k] - 4 * l->fry[k];
    return vocalist_open(g->v, weight, pitch_st, meant_db(g, k), g->more_h1h2[k] + slack);
}

/* Harmonics below 5 kHz of the lowest note. */
enum { HARMONICS_MOST = 512 };

double enact_pulses_db(const throat *t, double open, double skew, double tilt_hz, double pitch_st,
                       double rate_hz)
{
    glottis p = {open, skew};
    double f0 = note_to_hz(pitch_st), power = 0, gain[HARMONICS_MOST];
    size_t n = (size_t)fmin(ceil(5000 / f0) - 1, HARMONICS_MOST);
    throat_gains(t, open / 2, f0, rate_hz, n, gain);
    for (int h = 1; h <= (int)n; h++) {
        double a = glottis_harmonic(&p, tilt_hz, f0, h) * gain[h - 1];
        power += a * a / 2;
    }
    return 10 * log10(power);
}

static double predicted_at(const stage *g, size_t k, double weight, double pitch_st)
{
    throat t = throat_at(g, k, weight, pitch_st);
    return enact_pulses_db(&t, open_at(g, k, weight, pitch_st), vocalist_skew(g->v, weight),
                           vocalist_tilt_hz(g->v, weight, meant_db(g, k)), pitch_st, ENACT_RATE_HZ);
}

static double level_at(const stage *g, size_t k, double weight, double predicted_db)
{
    const vocalist *v = g->v;
    double usual = (1 - weight) * g->usual_db[0] + weight * g->usual_db[1];
    double gain = (1 - weight) * v->source[0].gain_db + weight * v->source[1].gain_db;
    return meant_db(g, k) + gain + 6 * tanh(v->ripple * (predicted_db - usual) / 6);
}

static void usual_levels(stage *g)
{
    const vocalist *v = g->v;
    for (int reg = 0; reg < 2; reg++) {
        double sum = 0;
        for (int i = -6; i <= 6; i++) {
            double pitch = v->edge_st + i;
            sum +=
                enact_pulses_db(&v->throat, vocalist_open(v, reg, pitch, v->middle_db, 0),
                                v->source[reg].skew, v->source[reg].tilt_hz, pitch, ENACT_RATE_HZ);
        }
        g->usual_db[reg] = sum / 13;
    }
}

static gsl_rng *chances(const stage *g, int take, const char *purpose)
{
    return chance_new(cast_get(g->v->family, g->v->woman).name, g->v->seed, take, purpose);
}

/* A wave a little sharper at the top than a sine, its rate and extent wandering. */
static void vibrato_fill(stage *g, gsl_rng *r)
{
    size_t n = g->a.n;
    double *rate = xmalloc(n, sizeof *rate), *wide = xmalloc(n, sizeof *wide);
    chance_wander(r, n, CHART_STEP_S, 1.2, 0.06, rate);
    chance_wander(r, n, CHART_STEP_S, 1.6, 0.2, wide);
    double phase = chance_in(r, 0, 2 * M_PI), late = chance_in(r, 0, 0.5), sung = 0;
    for (size_t k = 0; k < n; k++) {
        phase += 2 * M_PI * g->v->vibrato_hz * (1 + rate[k]) * CHART_STEP_S;
        sung = g->a.line.gate[k] > 0 ? sung + CHART_STEP_S : 0;
        double extent = g->v->vibrato_st * g->a.line.vibrato * (1 + wide[k]);
        g->vibrato[k] =
            extent * chart_ease((sung - late) / 0.5) * (sin(phase) + 0.12 * sin(2 * phase));
    }
    free(rate);
    free(wide);
}

static void drift_fill(stage *g, int take)
{
    gsl_rng *r = chances(g, take, "drift");
    size_t n = g->a.n;
    g->vibrato = xmalloc(n, sizeof *g->vibrato);
    g->more_h1h2 = xmalloc(n, sizeof *g->more_h1h2);
    g->more_air = xmalloc(n, sizeof *g->more_air);
    vibrato_fill(g, r);
    chance_wander(r, n, CHART_STEP_S, 1.5, 0.8, g->more_h1h2);
    chance_wander(r, n, CHART_STEP_S, 1, 1.5, g->more_air);
    for (int i = 0; i < THROAT_FORMANTS; i++) {
        g->formant[i] = xmalloc(n, sizeof *g->formant[i]);
        chance_wander(r, n, CHART_STEP_S, 2, g->v->wander, g->formant[i]);
    }
    gsl_rng_free(r);
}

static vocalist_turn turn_kind(const vocalist *v, gsl_rng *r)
{
    double sum = 0;
    for (int i = 0; i < TURN_KINDS; i++)
        sum += v->turns[i];
    double u = chance_in(r, 0, sum);
    int i = 0;
    while (i < TURN_KINDS - 1 && u > v->turns[i])
        u -= v->turns[i++];
    /* A seam is no affair of one cycle. */
    return i == TURN_CYCLE && v->span_ms[0] > 20 ? TURN_RAMP : (vocalist_turn)i;
}

static void turn_add(stage *g, gsl_rng *r, double t, double pitch_st, double level_db)
{
    const vocalist *v = g->v;
    turn f = {.time_s = t, .up = weight_at(g, t) < 0.5, .pitch_st = pitch_st, .level_db = level_db};
    f.kind = turn_kind(v, r);
    double span = chance_in(r, v->span_ms[0], v->span_ms[1]);
    f.span_ms = f.kind == TURN_CYCLE ? 1000 / note_to_hz(pitch_st) * chance_in(r, 1, 1.8) : span;
    double usual = (f.up ? v->leap_st : -v->leap_st * v->leap_down) * chance_in(r, 0.75, 1.2);
    f.from_st = turn_away_st(g->a.turns, g->a.n_turns, t);
    bool undoes = f.from_st * usual < 0 && fabs(f.from_st) > 0.3 * fabs(usual);
    f.to_st = undoes ? 0 : f.from_st + usual;
    double over = chance_in(r, 0.1, 0.3);
    f.over = f.kind == TURN_OVERSHOOT ? over : 0;
    f.over_s = chance_in(r, 0.015, 0.04);
    f.back_after_s = chance_in(r, 0.03, 0.25);
    f.back_tau_s = chance_in(r, 0.06, 0.3);
    double back = chance_in(r, 0.5, 1);
    f.back = chance_of(r, v->settles) ? back : 0;
    f.dip_db = -v->dip_db * chance_in(r, 0.3, 1);
    int ragged = 1 + (int)gsl_rng_uniform_int(r, 4);
    f.ragged = chance_of(r, v->ragged) ? ragged : 0;
    if (g->a.n_turns < TURNS_MOST)
        g->a.turns[g->a.n_turns++] = f;
}

typedef struct attempt {
    bool open;
    double start_s, draw_st, last_st;
} attempt;

/* A draw given that it is not yet passed where the attempt starts. */
static double threshold(const stage *g, gsl_rng *r, double past_st)
{
    for (int i = 0; i < 400; i++) {
        double draw = chance_logistic(r, g->v->scatter_st);
        if (draw > past_st)
            return draw;
    }
    return past_st;
}

static void rule_step(stage *g, gsl_rng *r, attempt *a, size_t k)
{
    const vocalist *v = g->v;
    double t = second(k), w = weight_at(g, t);
    if (t < a->start_s)
        return;
    double pitch = pitch_at(g, k), level = level_at(g, k, w, predicted_at(g, k, w, pitch));
    double edge = w < 0.5 ? vocalist_up_st(v, level) : vocalist_down_st(v, level);
    edge += g->shift_st;
    double past = w < 0.5 ? pitch - edge : edge - pitch;
    if (!a->open) {
        a->draw_st = threshold(g, r, past);
        a->open = true;
    } else if (past > a->draw_st) {
        double back = fmin((past - a->draw_st) / (past - a->last_st), 1) * EVERY * CHART_STEP_S;
        turn_add(g, r, t - back, edge + (w < 0.5 ? a->draw_st : -a->draw_st), level);
        *a = (attempt){.start_s = t + REST_S};
        return;
    }
    a->last_st = past;
}

static bool sounding(const stage *g, size_t k)
{
    size_t ahead = k + (size_t)(EDGE_S / CHART_STEP_S);
    return ahead < g->a.n && g->a.line.gate[k] > 0.99 && g->a.line.gate[ahead] > 0.99;
}

static bool light_at_start(const stage *g, gsl_rng *r, size_t k)
{
    if (g->c->pinned)
        return g->c->pinned == 2;
    double pitch = g->a.line.pitch_st[k], level = meant_db(g, k);
    bool either = chance_of(r, 0.5);
    if (pitch >= vocalist_up_st(g->v, level))
        return true;
    return pitch > vocalist_down_st(g->v, level) && either;
}

/* Where a speaker sets in again at step k after a pause, it is in the register of that pitch. */
static void begin_anew(stage *g, gsl_rng *r, size_t k, double rested_s)
{
    bool light = light_at_start(g, r, k);
    if (light != (weight_at(g, second(k)) > 0.5) && g->a.n_turns < TURNS_MOST)
        g->a.turns[g->a.n_turns++] = (turn){.time_s = second(k) - rested_s / 2,
                                            .up = light,
                                            .kind = TURN_OVERSHOOT,
                                            .span_ms = 10,
                                            .over_s = 1,
                                            .back_tau_s = 1,
                                            .unheard = true};
}

static void turns_by_rule(stage *g, gsl_rng *r)
{
    attempt a = {0};
    double rested_s = 0;
    for (size_t k = 0; k < g->a.n; k += EVERY) {
        if (g->a.line.gate[k] == 0)
            rested_s += EVERY * CHART_STEP_S;
        else if (g->c->kind == CHART_SPEECH && rested_s > 0.1 && second(k) > 1)
            begin_anew(g, r, k, rested_s);
        if (g->a.line.gate[k] > 0)
            rested_s = 0;
        if (sounding(g, k))
            rule_step(g, r, &a, k);
        else
            a = (attempt){.start_s = second(k) + REST_S};
    }
}

static void turns_at_will(stage *g, gsl_rng *r)
{
    double next = 0, mean = 1 / g->c->rate_hz;
    for (size_t k = 0; k < g->a.n; k += EVERY) {
        double t = second(k), w = weight_at(g, t);
        if (!sounding(g, k)) {
            next = t + chance_in(r, 0.4, 1);
        } else if (t >= next) {
            double pitch = pitch_at(g, k);
            turn_add(g, r, t, pitch, level_at(g, k, w, predicted_at(g, k, w, pitch)));
            next = t + mean * chance_in(r, 0.8, 1.25);
        }
    }
}

static void turns_place(stage *g, int take)
{
    gsl_rng *r = chances(g, take, "turns");
    g->a.turns = xcalloc(TURNS_MOST, sizeof *g->a.turns);
    g->shift_st = chance_bell(r, 0.3 * g->v->scatter_st);
    size_t on = 0;
    while (on + 1 < g->a.n && g->a.line.gate[on] < 0.99)
        on++;
    g->light = light_at_start(g, r, on);
    if (g->c->kind == CHART_ATWILL)
        turns_at_will(g, r);
    else if (!g->c->pinned)
        turns_by_rule(g, r);
    gsl_rng_free(r);
}

/* Lips or tongue shut for a nasal or a liquid at six in ten turns, each somewhere in it. */
static void consonants_at_turns(stage *g, int take)
{
    gsl_rng *r = chances(g, take, "consonants");
    for (size_t i = 0; i < g->a.n_turns; i++) {
        double lasts = chance_in(r, 0.05, 0.11), edge = chance_in(r, 0.008, 0.025);
        double at = g->a.turns[i].time_s - lasts * chance_in(r, 0, 1);
        if (!chance_of(r, 0.6))
            continue;
        for (size_t k = 0; k < g->a.n; k++) {
            double shut =
                chart_ease((second(k) - at) / edge) * chart_ease((at + lasts - second(k)) / edge);
            g->a.line.closure[k] = fmax(g->a.line.closure[k], shut);
        }
    }
    gsl_rng_free(r);
}

static void predict(stage *g)
{
    act *a = &g->a;
    for (size_t k = 0; k < a->n; k += EVERY)
        a->predicted_db[k] = a->line.gate[k] > 0 ? predicted_at(g, k, a->weight[k], a->pitch_st[k])
                                                 : (g->usual_db[0] + g->usual_db[1]) / 2;
    for (size_t k = 0; k < a->n; k++) {
        size_t lo = k - k % EVERY, hi = lo + EVERY < a->n ? lo + EVERY : lo;
        double share = (double)(k - lo) / EVERY;
        a->predicted_db[k] = (1 - share) * a->predicted_db[lo] + share * a->predicted_db[hi];
    }
}

/* The articulators follow the register within about a tenth of a second, the folds at once. */
static void fill(stage *g)
{
    act *a = &g->a;
    const vocalist *v = g->v;
    double slow = g->light;
    for (size_t k = 0; k < a->n; k++) {
        double w = a->weight[k] = weight_at(g, second(k)), pitch = a->pitch_st[k] = pitch_at(g, k);
        slow += (w - slow) * CHART_STEP_S / 0.08;
        a->open[k] = open_at(g, k, w, pitch);
        a->skew[k] = vocalist_skew(v, w);
        a->tilt_hz[k] = vocalist_tilt_hz(v, w, meant_db(g, k)) * pow(2, -a->line.whistle[k]);
        double softer = fmin(fmax(v->middle_db - meant_db(g, k), -10), 14);
        a->air_db[k] =
            (1 - w) * v->source[0].air_db + w * v->source[1].air_db + 0.3 * softer + g->more_air[k];
        if (g->c->kind == CHART_ATWILL && g->c->vowel_b)
            a->line.morph[k] = slow;
        a->throat[k] = throat_at(g, k, slow, pitch);
        a->reg[k] = a->line.gate[k] < 0.1 ? 0 : w < 0.5 ? 1 : 2;
    }
    predict(g);
    for (size_t k = 0; k < a->n; k++)
        a->level_db[k] = a->line.gate[k] > 0 ? level_at(g, k, a->weight[k], a->predicted_db[k]) +
                                                   20 * log10(a->line.gate[k]) +
                                                   turn_dip_db(a->turns, a->n_turns, second(k))
                                             : -INFINITY;
}

static void act_new(act *a)
{
    double **all[] = {&a->pitch_st, &a->level_db, &a->predicted_db, &a->weight,
                      &a->open,     &a->skew,     &a->tilt_hz,      &a->air_db};
    a->n = a->line.n;
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        *all[i] = xcalloc(a->n, sizeof **all[i]);
    a->throat = xcalloc(a->n, sizeof *a->throat);
    a->reg = xcalloc(a->n, sizeof *a->reg);
}

/* The other vowel's formants re the singer's own vowel. */
static void goal_fill(stage *g)
{
    double here[THROAT_VOWEL], there[THROAT_VOWEL];
    bool two = g->c->vowel_b && throat_vowel(g->v->woman, g->v->vowel, here) &&
               throat_vowel(g->v->woman, g->c->vowel_b, there);
    for (int i = 0; i < THROAT_VOWEL; i++)
        g->goal[i] = two ? there[i] / here[i] : 1;
}

act enact(const vocalist *v, const chart *c, int take)
{
    stage g = {.v = v, .c = c};
    g.a.line = contour_write(c, v, take);
    act_new(&g.a);
    goal_fill(&g);
    drift_fill(&g, take);
    usual_levels(&g);
    turns_place(&g, take);
    if (v->family == CAST_LILT && c->kind == CHART_ATWILL)
        consonants_at_turns(&g, take);
    fill(&g);
    free(g.vibrato);
    free(g.more_h1h2);
    free(g.more_air);
    for (int i = 0; i < THROAT_FORMANTS; i++)
        free(g.formant[i]);
    return g.a;
}

void act_clear(act *a)
{
    double *all[] = {a->pitch_st, a->level_db, a->predicted_db, a->weight,
                     a->open,     a->skew,     a->tilt_hz,      a->air_db};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        free(all[i]);
    contour_clear(&a->line);
    free(a->throat);
    free(a->reg);
    free(a->turns);
    *a = (act){0};
}
