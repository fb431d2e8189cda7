/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/score.h"

#include "base/array.h"
#include "voice/course.h"
#include "voice/dice.h"
#include "voice/tempt.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char *const kind_names[SCORE_KINDS] = {
    "slide",      "updown", "swell",   "hold",       "atwill", "melody",   "song",
    "portamento", "vowels", "doubled", "consonants", "trill",  "ornaments"};

const char *score_kind_name(score_kind k)
{
    return kind_names[k];
}

score_kind score_kind_by_name(const char *name)
{
    int k = 0;
    while (k < SCORE_KINDS && strcmp(kind_names[k], name) != 0)
        k++;
    return (score_kind)k;
}

int score_count(const singer *s)
{
    gsl_rng *r = dice_new(s->seed, 0, DICE_PLAN);
    int n = dice_whole(r, 8, 10);
    gsl_rng_free(r);
    return n;
}

static score slide(gsl_rng *r, const singer *s, double more_db, bool up)
{
    double middle = s->boundary.pitch_st - s->boundary.hysteresis / 2;
    double lo = middle - dice_between(r, 5, 10), hi = middle + dice_between(r, 5, 9);
    double level = s->boundary.level_db + more_db;
    double rise = dice_between(r, -0.05, 0.35) * (hi - lo) / 2;
    score sc = {.kind = SCORE_SLIDE, .seconds = dice_between(r, 4, 7)};
    sc.from_st = up ? lo : hi;
    sc.to_st = up ? hi : lo;
    sc.level_db = level + (up ? -rise : rise);
    sc.to_db = level + (up ? rise : -rise);
    return sc;
}

static score swell(gsl_rng *r, const singer *s)
{
    score sc = {.kind = SCORE_SWELL, .seconds = dice_between(r, 5, 8)};
    sc.level_db = s->boundary.level_db - dice_between(r, 7, 12);
    sc.to_db = s->boundary.level_db + dice_between(r, 5, 9);
    double at = dice_between(r, 0.25, 0.75); /* where between soft and loud the pitch would flip */
    sc.from_st = singer_up_st(s, sc.level_db + at * (sc.to_db - sc.level_db)) -
                 s->boundary.hysteresis * dice_between(r, 0, 1);
    sc.to_st = sc.from_st;
    return sc;
}

static score still(gsl_rng *r, const singer *s)
{
    score sc = {.kind = dice_chance(r, 0.6) ? SCORE_MELODY : SCORE_HOLD};
    sc.seconds = dice_between(r, 4, 7);
    sc.level_db = sc.to_db = s->boundary.level_db + dice_between(r, -6, 6);
    bool light = dice_chance(r, 0.4);
    sc.held = light ? 2 : 1;
    double edge = light ? singer_up_st(s, sc.level_db) + dice_between(r, 0.5, 2)
                        : singer_down_st(s, sc.level_db) - dice_between(r, 0.5, 2);
    double far = edge + (light ? 1 : -1) * dice_between(r, 4, light ? 9 : 12);
    sc.from_st = fmin(edge, far);
    sc.to_st = fmax(edge, far);
    return sc;
}

static score one_register(gsl_rng *r, const singer *s)
{
    score sc = slide(r, s, dice_between(r, -6, 6), dice_chance(r, 0.5));
    double lo = fmin(sc.from_st, sc.to_st);
    double top = singer_down_st(s, fmin(sc.level_db, sc.to_db)) - dice_between(r, 0.5, 2);
    bool up = sc.to_st > sc.from_st;
    sc.from_st = up ? lo - 3 : top;
    sc.to_st = up ? top : lo - 3;
    sc.held = 1;
    return sc;
}

static score at_will(gsl_rng *r, const singer *s)
{
    score sc = {.kind = SCORE_ATWILL, .seconds = dice_between(r, 4, 7)};
    sc.level_db = sc.to_db = s->boundary.level_db + dice_between(r, -5, 3);
    sc.from_st = sc.to_st =
        singer_up_st(s, sc.level_db) - s->boundary.hysteresis / 2 + dice_between(r, -2.5, 2.5);
    return sc;
}

static score song(gsl_rng *r, const singer *s)
{
    score sc = {.kind = SCORE_SONG, .seconds = dice_between(r, 5, 8)};
    double middle = s->boundary.pitch_st - s->boundary.hysteresis / 2;
    sc.level_db = sc.to_db = s->boundary.level_db + dice_between(r, -6, 6);
    sc.from_st = middle - dice_between(r, 5, 9);
    sc.to_st = middle + dice_between(r, 5, 9);
    sc.vowel_b = tempt_vowel(r, s->vowel);
    return sc;
}

static score usual(gsl_rng *r, const singer *s, int take)
{
    score sc;
    switch (take) {
    case 0:
        sc = slide(r, s, dice_between(r, -9, -5), true);
        break;
    case 1:
        sc = slide(r, s, dice_between(r, -2, 2), true);
        break;
    case 2:
        sc = slide(r, s, dice_between(r, 4, 8), true);
        break;
    case 3:
        sc = slide(r, s, dice_between(r, -8, -1), false);
        break;
    case 4:
        sc = slide(r, s, dice_between(r, 1, 7), false);
        break;
    case 5:
        sc = slide(r, s, dice_between(r, -5, 5), true);
        sc.kind = SCORE_UPDOWN;
        sc.seconds = dice_between(r, 6, 8);
        break;
    case 6:
        sc = swell(r, s);
        break;
    case 7:
        sc = still(r, s);
        break;
    case 8:
        sc = dice_chance(r, 0.5) ? at_will(r, s) : swell(r, s);
        break;
    default:
        sc = dice_chance(r, 0.5) ? one_register(r, s) : at_will(r, s);
        break;
    }
    return sc;
}

score score_plan(const singer *s, int take)
{
    gsl_rng *r = dice_new(s->seed, (uint64_t)take + 1, DICE_PLAN);
    bool yodels =
        s->family == FAMILY_YODEL || s->family == FAMILY_SYLLABLES || s->family == FAMILY_LILT;
    score sc;
    if (s->family >= FAMILY_STILL && (s->family < FAMILY_BESIDE || take % 2 == 1)) {
        sc = tempt_plan(r, s);
    } else if (s->family == FAMILY_SONG && take % 3 != 0) {
        sc = song(r, s);
    } else if (yodels && take % 3 != 0) {
        sc = at_will(r, s);
        sc.rate_hz = dice_between(r, 0.8, 3);
        if (s->family != FAMILY_YODEL)
            sc.vowel_b = tempt_vowel(r, s->vowel);
    } else {
        /* The even takes of a family beside flips: slides and one up and down. */
        bool beside = s->family >= FAMILY_BESIDE;
        sc = usual(r, s, beside && take >= 4 ? take == 6 ? 5 : 3 : take);
    }
    gsl_rng_free(r);
    return sc;
}

/* The take's voice from on_s to off_s, with soft edges and, at times, a breath before. */
static void gates(gsl_rng *r, score_line *l, double on_s, double off_s, bool pause)
{
    double rise = dice_between(r, 0.03, 0.12), fall = dice_between(r, 0.05, 0.25);
    double gap_at = on_s + dice_between(r, 0.35, 0.65) * (off_s - on_s);
    double gap = dice_between(r, 0.18, 0.35), edge = 0.05;
    double inhaled = dice_chance(r, 0.35) ? dice_between(r, 0.2, 0.4) : 0;
    for (size_t k = 0; k < l->n; k++) {
        double t = (double)k * SCORE_STEP_S;
        double g = course_smooth((t - on_s) / rise) * course_smooth((off_s - t) / fall);
        if (pause)
            g *= 1 - course_smooth((t - gap_at) / edge) * course_smooth((gap_at + gap - t) / edge);
        l->gate[k] = g;
        double from_end = on_s - 0.06 - t;
        l->breath[k] =
            inhaled > 0 ? course_smooth(from_end / 0.05) * course_smooth((inhaled - from_end) / 0.1)
                        : 0;
    }
}

static void melody(gsl_rng *r, score_line *l, const score *sc, double on_s)
{
    double note = on_s + dice_between(r, 0.3, 0.8), glide = dice_between(r, 0.04, 0.15);
    double before = dice_between(r, sc->from_st, sc->to_st), now = before;
    double start = 0;
    for (size_t k = 0; k < l->n; k++) {
        double t = (double)k * SCORE_STEP_S;
        if (t >= note) {
            before = now;
            start = note;
            glide = dice_between(r, 0.04, 0.15);
            note += dice_between(r, 0.3, 0.9);
            now = dice_between(r, sc->from_st, sc->to_st);
        }
        l->pitch_st[k] = before + (now - before) * course_smooth((t - start) / glide);
    }
}

/* Where the slide or swell stands, 0..1, at share x of the sung time: held at first and last. */
static double along(const score *sc, double x, double bend)
{
    double y = (x - 0.1) / 0.8;
    y = y < 0 ? 0 : y > 1 ? 1 : y;
    if (sc->kind == SCORE_UPDOWN || sc->kind == SCORE_SWELL)
        y = y < 0.5 ? 2 * y : 2 - 2 * y;
    y = pow(y, bend);
    return 0.6 * y + 0.4 * course_smooth(y);
}

static void contours(gsl_rng *r, score_line *l, const score *sc, double on_s, double off_s)
{
    double bend = dice_between(r, 0.8, 1.25);
    bool moves = sc->kind == SCORE_SLIDE || sc->kind == SCORE_UPDOWN || sc->kind == SCORE_VOWELS;
    for (size_t k = 0; k < l->n; k++) {
        double x = ((double)k * SCORE_STEP_S - on_s) / (off_s - on_s);
        double y = along(sc, x, bend);
        l->pitch_st[k] = sc->from_st + (moves ? y * (sc->to_st - sc->from_st) : 0);
        l->level_db[k] = sc->level_db + y * (sc->to_db - sc->level_db);
    }
    if (sc->kind == SCORE_MELODY || sc->kind == SCORE_CONSONANTS)
        melody(r, l, sc, on_s);
}

/* Nobody sings what is meant: slow wander, scoops at the start, drops at the end. */
static void human(gsl_rng *r, score_line *l, double on_s, double off_s)
{
    double *slow = xmalloc(l->n, sizeof *slow), *quick = xmalloc(l->n, sizeof *quick);
    double *loud = xmalloc(l->n, sizeof *loud);
    dice_wander(r, l->n, SCORE_STEP_S, 0.5, 0.15, slow);
    dice_wander(r, l->n, SCORE_STEP_S, 0.06, 0.04, quick);
    dice_wander(r, l->n, SCORE_STEP_S, 0.6, 0.7, loud);
    double scoop = dice_chance(r, 0.4) ? dice_between(r, 0.3, 2) : 0;
    double drop = dice_chance(r, 0.3) ? dice_between(r, 0.2, 1.5) : 0;
    for (size_t k = 0; k < l->n; k++) {
        double t = (double)k * SCORE_STEP_S;
        l->pitch_st[k] += slow[k] + quick[k] - scoop * course_smooth(1 - (t - on_s) / 0.12) -
                          drop * course_smooth(1 - (off_s - t) / 0.12);
        l->level_db[k] += loud[k];
    }
    free(slow);
    free(quick);
    free(loud);
}

score_line score_write(const score *sc, const singer *s, int take)
{
    static const double vibrato[SCORE_KINDS] = {0.2, 0.2, 1, 1, 1, 0.6, 0.6, 0.3, 0.6, 0.6, 0.6, 0};
    gsl_rng *r = dice_new(s->seed, (uint64_t)take, DICE_SCORE);
    score_line l = {.n = (size_t)(sc->seconds / SCORE_STEP_S), .vibrato = vibrato[sc->kind]};
    l.pitch_st = xmalloc(l.n, sizeof *l.pitch_st);
    l.level_db = xmalloc(l.n, sizeof *l.level_db);
    l.gate = xmalloc(l.n, sizeof *l.gate);
    l.breath = xmalloc(l.n, sizeof *l.breath);
    l.morph = xcalloc(l.n, sizeof *l.morph);
    l.doubled = xcalloc(l.n, sizeof *l.doubled);
    l.hiss = xcalloc(l.n, sizeof *l.hiss);
    l.nasal = xcalloc(l.n, sizeof *l.nasal);
    if (s->family == FAMILY_VIBRATO)
        l.vibrato = 1;
    double on_s = dice_between(r, 0.25, 0.6), off_s = sc->seconds - dice_between(r, 0.2, 0.45);
    gates(r, &l, on_s, off_s, sc->kind == SCORE_MELODY && dice_chance(r, 0.5));
    contours(r, &l, sc, on_s, off_s);
    tempt_contours(&l, sc, s, take, on_s, off_s);
    human(r, &l, on_s, off_s);
    gsl_rng_free(r);
    return l;
}

void score_line_clear(score_line *l)
{
    free(l->pitch_st);
    free(l->level_db);
    free(l->gate);
    free(l->breath);
    free(l->morph);
    free(l->doubled);
    free(l->hiss);
    free(l->nasal);
    *l = (score_line){0};
}
