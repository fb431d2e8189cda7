/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/chart.h"

#include "base/array.h"
#include "base/note.h"
#include "voice2/chance.h"

#include <math.h>
#include <stdlib.h>

typedef struct sheet { /* what the parts of a contour are written from */
    gsl_rng *r;
    const vocalist *v;
    const chart *c;
    contour *l;
    double on_s, off_s;
} sheet;

static double second(size_t k)
{
    return (double)k * CHART_STEP_S;
}

/* 0..1 to and fro along the sung time, held at both ends. */
static double along(const sheet *s, double t, int legs)
{
    double x = (t - s->on_s) / (s->off_s - s->on_s);
    double y = fmin(fmax((x - 0.08) / 0.84, 0), 1) * legs;
    double part = y - 2 * floor(y / 2);
    return part <= 1 ? part : 2 - part;
}

static void slide(const sheet *s, int legs)
{
    double bend = chance_in(s->r, 0, 1);
    for (size_t k = 0; k < s->l->n; k++) {
        double y = along(s, second(k), legs);
        double x = (1 - bend) * y + bend * chart_ease(y);
        s->l->pitch_st[k] = s->c->from_st + x * (s->c->to_st - s->c->from_st);
        s->l->level_db[k] = s->c->from_db + x * (s->c->to_db - s->c->from_db);
    }
}

static void swell(const sheet *s)
{
    double peak = chance_in(s->r, 0.35, 0.6); /* crescendi are mostly the shorter part */
    for (size_t k = 0; k < s->l->n; k++) {
        double x = (second(k) - s->on_s) / (s->off_s - s->on_s);
        double y = x < peak ? x / peak : (1 - x) / (1 - peak);
        s->l->pitch_st[k] = s->c->from_st;
        s->l->level_db[k] = s->c->from_db + chart_ease(y) * (s->c->to_db - s->c->from_db);
    }
}

/* Notes: each goes over into the next within glide_s. `next` gives the note after i. */
typedef double (*melody)(const sheet *s, int i);

static void notes(const sheet *s, melody next, const double length_s[2], const double glide_s[2])
{
    double before = next(s, 0), now = before, start = 0, glide = 1;
    double at = s->on_s + chance_in(s->r, 0.4, 0.7);
    int i = 0;
    for (size_t k = 0; k < s->l->n; k++) {
        double t = second(k);
        if (t >= at) {
            before = now;
            now = next(s, ++i);
            start = t;
            glide = chance_in(s->r, glide_s[0], glide_s[1]);
            at = t + glide + chance_in(s->r, length_s[0], length_s[1]);
        }
        s->l->pitch_st[k] = before + (now - before) * chart_ease((t - start) / glide);
        s->l->level_db[k] = s->c->from_db;
    }
}

static double step_of_scale(const sheet *s, int i)
{
    static const int major[8] = {0, 2, 4, 5, 7, 9, 11, 12};
    double wide = s->c->to_st - s->c->from_st;
    int top = 0;
    while (top < 7 && major[top + 1] <= fabs(wide) + 0.5)
        top++;
    int at = top ? i % (2 * top) : 0;
    return s->c->from_st + copysign(major[at <= top ? at : 2 * top - at], wide);
}

static double to_and_fro(const sheet *s, int i)
{
    return (i % 2 ? s->c->to_st : s->c->from_st) + chance_in(s->r, -0.3, 0.3);
}

static double anywhere(const sheet *s, int i)
{
    (void)i;
    return chance_in(s->r, fmin(s->c->from_st, s->c->to_st), fmax(s->c->from_st, s->c->to_st));
}

/* Trill or wide vibrato on a few notes. */
static void trill(const sheet *s)
{
    bool trills = chance_of(s->r, 0.5);
    double wide = trills ? chance_in(s->r, 1, 3) : chance_in(s->r, 1, 2), phase = 0;
    for (size_t k = 0; k < s->l->n; k++) {
        double in = chart_ease((second(k) - s->on_s - 0.4) / 0.5);
        phase += 2 * M_PI * s->c->rate_hz * CHART_STEP_S;
        double wave = sin(phase);
        wave = trills ? 0.5 + 0.5 * tanh(3 * wave) : wave;
        s->l->pitch_st[k] += wide * in * wave;
    }
}

/* From one vowel to the other and back, three to six times. */
static void vowels(const sheet *s)
{
    double at = s->on_s + chance_in(s->r, 0.5, 1), start = 0, lasts = 1, now = 0, before = 0;
    for (size_t k = 0; k < s->l->n; k++) {
        double t = second(k);
        if (t >= at) {
            before = now;
            now = 1 - now;
            start = t;
            lasts = chance_in(s->r, 0.06, 0.4);
            at = t + lasts + chance_in(s->r, 0.4, 0.9);
        }
        s->l->morph[k] = before + (now - before) * chart_ease((t - start) / lasts);
    }
}

/* Every other cycle differs for 0.3 to 1.2 s, twice or so. */
static void doubling(const sheet *s)
{
    double at = s->on_s + chance_in(s->r, 0.6, 1.2);
    while (at < s->off_s - 0.8) {
        double end = at + chance_in(s->r, 0.3, 1.2), deep = chance_in(s->r, 0.15, 0.5);
        for (size_t k = 0; k < s->l->n; k++) {
            double t = second(k);
            s->l->doubled[k] += deep * chart_ease((t - at) / 0.05) * chart_ease((end - t) / 0.05);
        }
        at = end + chance_in(s->r, 0.5, 1.2);
    }
}

/* Notes that go over to what lies between lo_hz and hi_hz, and back. `how` is 1 there. */
static void beyond(const sheet *s, double *how, double lo_hz, double hi_hz, double more_db)
{
    double at = s->on_s + chance_in(s->r, 0.6, 1.1);
    while (at < s->off_s - 0.9) {
        double end = at + chance_in(s->r, 0.3, 0.9), back = end + chance_in(s->r, 0.02, 0.2);
        double gone = at - chance_in(s->r, 0.02, 0.2);
        double goal = note_from_hz(chance_in(s->r, lo_hz, hi_hz));
        for (size_t k = 0; k < s->l->n; k++) {
            double t = second(k);
            double x = chart_ease((t - gone) / (at - gone)) * chart_ease((back - t) / (back - end));
            s->l->pitch_st[k] += x * (goal - s->l->pitch_st[k]);
            s->l->level_db[k] += x * more_db;
            how[k] = fmax(how[k], x);
        }
        at = back + chance_in(s->r, 0.6, 1.3);
    }
}

static void consonant(const sheet *s, double at)
{
    double kind = gsl_rng_uniform(s->r);
    double lasts = chance_in(s->r, 0.06, 0.16), edge = chance_in(s->r, 0.008, 0.025);
    for (size_t k = 0; k < s->l->n; k++) {
        double t = second(k);
        double shut = chart_ease((t - at) / edge) * chart_ease((at + lasts - t) / edge);
        if (kind < 0.35) {
            s->l->closure[k] = fmax(s->l->closure[k], shut);
            continue;
        }
        s->l->gate[k] *= 1 - shut;
        double burst = kind < 0.7 ? chart_ease((t - at - lasts + 0.02) / 0.003) : 1;
        s->l->hiss[k] = fmax(s->l->hiss[k], shut * burst);
    }
}

static void consonants(const sheet *s)
{
    double at = s->on_s + chance_in(s->r, 0.5, 0.9);
    for (; at < s->off_s - 0.6; at += chance_in(s->r, 0.5, 1))
        consonant(s, at);
}

/* From `at` on the mouth goes from where it is to a vowel. */
static void vowel_from(const sheet *s, double at, double takes_s, const double to[THROAT_VOWEL])
{
    for (int i = 0; i < THROAT_VOWEL; i++) {
        double *now = s->l->mouth[i];
        size_t from = (size_t)(at / CHART_STEP_S);
        for (size_t k = from + 1; k < s->l->n; k++)
            now[k] = now[from] + (to[i] - now[from]) * chart_ease((second(k) - at) / takes_s);
    }
}

static void vowel_of(const sheet *s, double off[THROAT_VOWEL])
{
    static const char all[] = "aeiou";
    double own[THROAT_VOWEL], other[THROAT_VOWEL];
    throat_vowel(s->v->woman, s->v->vowel, own);
    throat_vowel(s->v->woman, all[gsl_rng_uniform_int(s->r, 5)], other);
    double reached = chance_in(s->r, 0.6, 1); /* none is quite reached */
    for (int i = 0; i < THROAT_VOWEL; i++)
        off[i] = reached * log2(other[i] / own[i]);
}

/* A vowel from `at` on, in most of those that may close with a consonant before it. */
static void syllable(const sheet *s, double at, bool closes)
{
    double off[THROAT_VOWEL];
    vowel_of(s, off);
    vowel_from(s, at, chance_in(s->r, 0.05, 0.1), off);
    if (closes && chance_of(s->r, 0.75))
        consonant(s, at);
}

/* A walk in steps of at most 7 semitones that turns round at its ends and glides no faster than
 * voices do: 90 ms and 9 more a semitone (Xu and Sun 2002, from memory). In a tune each note is a
 * syllable. */
static void song(const sheet *s)
{
    double before = anywhere(s, 0), now = before, start = 0, glide = 1;
    double at = s->on_s + chance_in(s->r, 0.3, 0.7);
    for (size_t k = 0; k < s->l->n; k++) {
        double t = second(k);
        if (t >= at) {
            double step = fmax(-7, fmin(chance_bell(s->r, 3.5), 7)), to = now + step;
            before = now;
            now += to < s->c->from_st || to > s->c->to_st ? -step : step;
            start = t;
            if (s->c->kind == CHART_TUNE)
                syllable(s, t, true);
            glide = (0.09 + 0.009 * fabs(step)) * chance_in(s->r, 1, 1.6);
            at = t + glide + chance_in(s->r, 0.15, 0.6);
        }
        s->l->pitch_st[k] = before + (now - before) * chart_ease((t - start) / glide);
        s->l->level_db[k] = s->c->from_db;
    }
}

static void lift(const sheet *s, double *curve, double at, double takes_s, double end, double by)
{
    for (size_t k = 0; k < s->l->n; k++)
        curve[k] += by * chart_ease((second(k) - at) / takes_s) *
                    chart_ease((end + takes_s - second(k)) / takes_s);
}

/* From `at` to `end`: the tune falls by a few semitones over the phrase, stressed syllables rise
 * out of it, by no more than voices can in the time (150 to 220 ms for up to 6 semitones), and it
 * ends low, or high where it asks. From experience, no source. */
static void phrase(const sheet *s, double at, double end)
{
    bool lifted = !s->c->pinned && chance_of(s->r, 0.4);
    double high = s->c->to_st, low = s->c->from_st, falls = chance_in(s->r, 2, 4);
    low += lifted ? 0.6 * (high - low) : 0;
    double asks = chance_of(s->r, 0.25) ? 1 : -1, next = at;
    for (size_t k = 0; k < s->l->n; k++) {
        double t = second(k), x = (t - at) / (end - at);
        if (t < at - 0.1 || t > end + 0.1)
            continue;
        s->l->pitch_st[k] = low + falls * (1 - x) + 3 * asks * chart_ease((x - 0.8) / 0.2);
        s->l->level_db[k] = s->c->from_db + 3 - 6 * x;
    }
    while (next < end - 0.1) {
        double lasts = chance_in(s->r, 0.14, 0.26);
        syllable(s, next, next > at);
        if (chance_of(s->r, 0.35)) {
            double stress = chance_in(s->r, 0.4, 1);
            lift(s, s->l->pitch_st, next - 0.05, chance_in(s->r, 0.15, 0.22), next + lasts,
                 stress * fmax(3, fmin(6, high - low - falls)));
            lift(s, s->l->level_db, next - 0.05, 0.1, next + lasts, 5 * stress);
        }
        next += lasts;
    }
}

static void speech(const sheet *s)
{
    double at = s->on_s;
    while (at < s->off_s) {
        double end = fmin(at + chance_in(s->r, 1.2, 2.5), s->off_s);
        double rest = chance_in(s->r, 0.25, 0.5);
        if (s->off_s - end < 1)
            end = s->off_s;
        phrase(s, at, end);
        for (size_t k = 0; k < s->l->n; k++) {
            double t = second(k);
            if (t > end - 0.1 && t <= end + rest / 2 && end < s->off_s)
                s->l->gate[k] *= chart_ease((end - t) / 0.08);
            else if (t > end + rest / 2 && t < end + rest + 0.1)
                s->l->gate[k] *= chart_ease((t - end - rest) / 0.04);
        }
        at = end + rest;
    }
}

static void gates(const sheet *s)
{
    double rise = chance_in(s->r, 0.02, 0.12), fall = chance_in(s->r, 0.05, 0.3);
    double drawn = chance_of(s->r, 0.4) ? chance_in(s->r, 0.15, 0.35) : 0;
    for (size_t k = 0; k < s->l->n; k++) {
        double t = second(k), to_on = s->on_s - 0.05 - t;
        s->l->gate[k] = chart_ease((t - s->on_s) / rise) * chart_ease((s->off_s - t) / fall);
        if (drawn > 0)
            s->l->breath[k] = chart_ease(to_on / 0.04) * chart_ease((drawn - to_on) / 0.08);
    }
}

/* Nobody sings what is meant. */
static void human(const sheet *s)
{
    size_t n = s->l->n;
    double *slow = xmalloc(n, sizeof *slow), *quick = xmalloc(n, sizeof *quick);
    double *loud = xmalloc(n, sizeof *loud);
    chance_wander(s->r, n, CHART_STEP_S, 1.5, 0.12, slow);
    chance_wander(s->r, n, CHART_STEP_S, 0.2, 0.03, quick);
    chance_wander(s->r, n, CHART_STEP_S, 1.8, 0.8, loud);
    double scoop = chance_of(s->r, 0.35) ? chance_in(s->r, 0.3, 2) : 0;
    double fall = chance_of(s->r, 0.3) ? chance_in(s->r, 0.2, 1.5) : 0;
    for (size_t k = 0; k < n; k++) {
        double t = second(k);
        s->l->pitch_st[k] += slow[k] + quick[k] - scoop * exp(-fmax(t - s->on_s, 0) / 0.05) -
                             fall * exp(-fmax(s->off_s - t, 0) / 0.06);
        s->l->level_db[k] += loud[k];
    }
    free(slow);
    free(quick);
    free(loud);
}

static void contour_new(contour *l, double seconds)
{
    double **all[] = {&l->pitch_st, &l->level_db, &l->gate,    &l->breath, &l->hiss,
                      &l->closure,  &l->morph,    &l->doubled, &l->fry,    &l->whistle,
                      &l->mouth[0], &l->mouth[1], &l->mouth[2]};
    l->n = (size_t)(seconds / CHART_STEP_S);
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        *all[i] = xcalloc(l->n, sizeof **all[i]);
}

static void melodies(const sheet *s)
{
    static const double leaps[2] = {0.08, 0.15}, steps[2] = {0.04, 0.12}, slow[2] = {0.1, 0.25};
    static const double brief[2] = {0.25, 0.5}, long_s[2] = {0.4, 0.9}, longer[2] = {1, 1.8};
    switch (s->c->kind) {
    case CHART_SCALE:
        notes(s, step_of_scale, brief, steps);
        break;
    case CHART_PORTAMENTO:
        notes(s, to_and_fro, long_s, leaps);
        break;
    case CHART_CONSONANTS:
        notes(s, anywhere, long_s, steps);
        consonants(s);
        break;
    case CHART_SONG:
        song(s);
        consonants(s);
        vowels(s);
        break;
    case CHART_TUNE:
        song(s);
        break;
    case CHART_SPEECH:
        speech(s);
        break;
    case CHART_TRILL:
        notes(s, anywhere, longer, slow);
        trill(s);
        break;
    case CHART_DOUBLED:
        notes(s, anywhere, longer, slow);
        doubling(s);
        break;
    case CHART_FRY: /* pitch from memory, after Hollien and Michel 1968 */
        notes(s, anywhere, longer, slow);
        beyond(s, s->l->fry, 28, 65, -8);
        break;
    case CHART_WHISTLE: /* M3 begins at about 1000 Hz: Garnier et al. 2010, from memory */
        notes(s, anywhere, longer, slow);
        beyond(s, s->l->whistle, 1050, 1400, -3);
        break;
    default:
        slide(s, s->c->kind == CHART_SIREN ? 2 * (int)floor(chance_in(s->r, 1, 2.999)) : 1);
        break;
    }
}

contour contour_write(const chart *c, const vocalist *v, int take)
{
    gsl_rng *r = chance_new(cast_get(v->family, v->woman).name, v->seed, take, "contour");
    contour l = {0};
    contour_new(&l, c->seconds);
    sheet s = {r, v, c, &l, chance_in(r, 0.25, 0.6), c->seconds - chance_in(r, 0.2, 0.5)};
    gates(&s);
    if (c->kind == CHART_SWELL)
        swell(&s);
    else
        melodies(&s);
    if (c->kind == CHART_HOLD || c->kind == CHART_ATWILL)
        for (size_t k = 0; k < l.n; k++)
            l.pitch_st[k] = c->from_st;
    if (c->kind == CHART_VOWELS)
        vowels(&s);
    human(&s);
    bool still = c->kind == CHART_HOLD || c->kind == CHART_SWELL;
    l.vibrato = still ? 1 : c->kind == CHART_SLIDE || c->kind == CHART_SIREN ? 0.3 : 0.6;
    if (v->family == CAST_VIBRATO)
        l.vibrato = 1;
    gsl_rng_free(r);
    return l;
}

void contour_clear(contour *l)
{
    double *all[] = {l->pitch_st, l->level_db, l->gate,    l->breath, l->hiss,
                     l->closure,  l->morph,    l->doubled, l->fry,    l->whistle,
                     l->mouth[0], l->mouth[1], l->mouth[2]};
    for (size_t i = 0; i < sizeof all / sizeof *all; i++)
        free(all[i]);
    *l = (contour){0};
}
