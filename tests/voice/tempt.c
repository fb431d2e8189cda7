/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/tempt.h"

#include "base/note.h"
#include "voice/course.h"
#include "voice/dice.h"

#include <math.h>
#include <string.h>

/* Beside flips and in some singers each take has its own register; the others have one alone. */
static int held_register(gsl_rng *take, const singer *s)
{
    gsl_rng *r = dice_new(s->seed, 4, DICE_SINGER);
    double habit = dice_between(r, 0, 1);
    gsl_rng_free(r);
    int drawn = dice_chance(take, 0.6) ? 1 : 2;
    bool one_alone = s->family == FAMILY_ONE_REGISTER;
    if (s->family >= FAMILY_BESIDE)
        return drawn;
    if (habit < (one_alone ? 0.6 : 0.5))
        return 1;
    return one_alone || habit < 0.75 ? 2 : drawn;
}

/* Two pitches `wide` apart on the register's own side of the boundary. */
static void place(gsl_rng *r, const singer *s, score *sc, double wide)
{
    sc->level_db = sc->to_db = s->boundary.level_db + dice_between(r, -6, 6);
    if (sc->held == 1) {
        sc->to_st = singer_down_st(s, sc->level_db) - dice_between(r, 0.3, 4);
        sc->from_st = sc->to_st - wide;
    } else {
        sc->from_st = singer_up_st(s, sc->level_db) + dice_between(r, 0.3, 2.5);
        sc->to_st = sc->from_st + wide;
    }
}

static void turn_round(gsl_rng *r, score *sc)
{
    double other = sc->from_st;
    if (!dice_chance(r, 0.5))
        return;
    sc->from_st = sc->to_st;
    sc->to_st = other;
}

/* H1 or H2 goes through F1, whichever crossing lies nearer to where the register is sung. */
static void cross(gsl_rng *r, const singer *s, score *sc)
{
    double f1 = note_from_hz(s->tract.f_hz[0]);
    double home = s->boundary.pitch_st + (sc->held == 1 ? -s->boundary.hysteresis - 7 : 5);
    double at = fabs(f1 - home) < fabs(f1 - 12 - home) ? f1 : f1 - 12;
    sc->kind = dice_chance(r, 0.7) ? SCORE_SLIDE : SCORE_UPDOWN;
    sc->from_st = at - dice_between(r, 3, 6);
    sc->to_st = at + dice_between(r, 3, 6);
}

static score plain(gsl_rng *r, const singer *s, score sc)
{
    static const score_kind kinds[5] = {SCORE_SLIDE, SCORE_UPDOWN, SCORE_SWELL, SCORE_HOLD,
                                        SCORE_MELODY};
    sc.kind = kinds[dice_whole(r, 0, 4)];
    place(r, s, &sc, dice_between(r, 4, sc.held == 1 ? 12 : 8));
    if (sc.kind == SCORE_SWELL) {
        sc.level_db = s->boundary.level_db - dice_between(r, 4, 10);
        sc.to_db = sc.level_db + dice_between(r, 6, 14);
    }
    return sc;
}

/* A song that stays on its own side of the boundary. */
static score tune(gsl_rng *r, const singer *s, score sc)
{
    sc.kind = SCORE_SONG;
    sc.seconds = dice_between(r, 6, 10);
    place(r, s, &sc, dice_between(r, 7, 12));
    sc.vowel_b = tempt_vowel(r, s->vowel);
    return sc;
}

char tempt_vowel(gsl_rng *r, char than)
{
    static const char round[] = "aeiouaeiou";
    return strchr(round, than)[dice_whole(r, 1, 4)];
}

score tempt_plan(gsl_rng *r, const singer *s)
{
    score sc = {.seconds = dice_between(r, 4, 7), .held = held_register(r, s)};
    family kind = family_kind(s->family);
    if (kind == FAMILY_ONE_REGISTER)
        return plain(r, s, sc);
    if (kind == FAMILY_TUNE)
        return tune(r, s, sc);
    bool portamento = kind == FAMILY_PORTAMENTO;
    bool ornaments = kind == FAMILY_ORNAMENTS;
    place(r, s, &sc,
          portamento  ? dice_between(r, 7, 12)
          : ornaments ? dice_between(r, 5, 9)
                      : dice_between(r, 3, 8));
    if (kind == FAMILY_CROSSING)
        cross(r, s, &sc);
    else if (kind == FAMILY_VOWEL_CHANGE)
        sc.kind = SCORE_VOWELS;
    else
        sc.kind = portamento                  ? SCORE_PORTAMENTO
                  : kind == FAMILY_DOUBLING   ? SCORE_DOUBLED
                  : kind == FAMILY_CONSONANTS ? SCORE_CONSONANTS
                  : ornaments                 ? SCORE_ORNAMENTS
                                              : SCORE_TRILL;
    if (sc.kind == SCORE_VOWELS) {
        sc.vowel_b = tempt_vowel(r, s->vowel);
        sc.to_st = dice_chance(r, 0.5) ? sc.from_st : sc.to_st;
    }
    turn_round(r, &sc);
    return sc;
}

typedef struct notes { /* of a line of notes that glide into each other */
    double length_s[2], glide_s[2];
    bool in_turn;     /* from_st and to_st by turns, else anywhere between */
    double stress_db; /* standard deviation of a note's level */
} notes;

static double note_after(gsl_rng *r, const score *sc, const notes *how, double now)
{
    double middle = (sc->from_st + sc->to_st) / 2;
    double far = (now < middle) == (sc->from_st < middle) ? sc->to_st : sc->from_st;
    return how->in_turn ? far + dice_normal(r, 0.15) : dice_between(r, sc->from_st, sc->to_st);
}

static void write_notes(gsl_rng *r, score_line *l, const score *sc, double on_s, const notes *how)
{
    double before = sc->from_st, now = before, start = 0, glide = 1, was_db = 0, now_db = 0;
    double next = on_s + dice_between(r, 0.4, 0.8);
    for (size_t k = 0; k < l->n; k++) {
        double t = (double)k * SCORE_STEP_S;
        if (t >= next) {
            before = now;
            now = note_after(r, sc, how, now);
            start = t;
            glide = dice_between(r, how->glide_s[0], how->glide_s[1]);
            next = t + glide + dice_between(r, how->length_s[0], how->length_s[1]);
            was_db = now_db;
            now_db = how->stress_db > 0 ? dice_normal(r, how->stress_db) : 0;
        }
        double done = course_smooth((t - start) / glide);
        l->pitch_st[k] = before + (now - before) * done;
        l->level_db[k] += was_db + (now_db - was_db) * done;
    }
}

/* Goes on by up to 7 semitones, mostly fewer, turning round at from_st and to_st, each step as long
 * as voices take for it at least: 90 ms and 9 more a semitone (Xu and Sun 2002, from memory). */
static void write_song(gsl_rng *r, score_line *l, const score *sc, double on_s)
{
    double before = dice_between(r, sc->from_st, sc->to_st), now = before, start = 0, glide = 1;
    double next = on_s + dice_between(r, 0.3, 0.8);
    for (size_t k = 0; k < l->n; k++) {
        double t = (double)k * SCORE_STEP_S;
        if (t >= next) {
            before = now;
            double step = fmax(-7, fmin(dice_normal(r, 3.5), 7));
            now += now + step < sc->from_st || now + step > sc->to_st ? -step : step;
            start = t;
            glide = (0.09 + 0.009 * fabs(step)) * dice_between(r, 1, 1.6);
            next = t + glide + dice_between(r, 0.15, 0.7);
        }
        l->pitch_st[k] = before + (now - before) * course_smooth((t - start) / glide);
    }
}

static void write_trill(gsl_rng *r, score_line *l, double on_s)
{
    bool trill = dice_chance(r, 0.5);
    double hz = dice_between(r, 4, 7), wide = trill ? dice_between(r, 1, 3) : dice_between(r, 1, 2);
    double phase = dice_between(r, 0, 2 * M_PI);
    for (size_t k = 0; k < l->n; k++) {
        double t = (double)k * SCORE_STEP_S, wave = sin(2 * M_PI * hz * t + phase);
        if (trill) /* two notes, each held for a third of the time */
            wave = 2 * course_smooth(0.5 + 1.5 * wave) - 1;
        l->pitch_st[k] += (trill ? wide / 2 : wide) * wave * course_smooth((t - on_s - 0.3) / 0.5);
    }
}

static void write_vowels(gsl_rng *r, score_line *l, double on_s)
{
    double next = on_s + dice_between(r, 0.4, 1), start = 0, lasts = 1, now = 0, before = 0;
    for (size_t k = 0; k < l->n; k++) {
        double t = (double)k * SCORE_STEP_S;
        if (t >= next) {
            before = now;
            now = now > 0.5 ? 0 : 1;
            start = t;
            lasts = dice_between(r, 0.08, 0.4);
            next = t + lasts + dice_between(r, 0.4, 1);
        }
        l->morph[k] = before + (now - before) * course_smooth((t - start) / lasts);
    }
}

static void write_doubling(gsl_rng *r, score_line *l, double on_s, double off_s)
{
    double at = on_s + dice_between(r, 0.5, 1.2);
    while (at < off_s - 0.7) {
        double to = at + dice_between(r, 0.3, 1.2), deep = dice_between(r, 0.15, 0.5);
        for (size_t k = 0; k < l->n; k++)
            l->doubled[k] += deep * course_within((double)k * SCORE_STEP_S, at, to, 0.06);
        at = to + dice_between(r, 0.4, 1.2);
    }
}

static void write_consonants(gsl_rng *r, score_line *l, double on_s, double off_s)
{
    double at = on_s + dice_between(r, 0.5, 0.9);
    while (at < off_s - 0.6) {
        int what = dice_whole(r, 0, 2); /* nasal, stop, fricative */
        double to = at + dice_between(r, 0.06, 0.16), edge = dice_between(r, 0.01, 0.03);
        for (size_t k = 0; k < l->n; k++) {
            double t = (double)k * SCORE_STEP_S, shut = course_within(t, at, to, edge);
            l->nasal[k] += what == 0 ? shut : 0;
            l->gate[k] *= what == 0 ? 1 : 1 - shut;
            if (what > 0)
                l->hiss[k] += shut * (what == 2 || t > to - 0.02 ? 1 : 0);
        }
        at = to + dice_between(r, 0.45, 1);
    }
}

void tempt_contours(score_line *l, const score *sc, const singer *s, int take, double on_s,
                    double off_s)
{
    static const notes leaps = {{0.4, 0.9}, {0.08, 0.15}, true, 0};
    static const notes slow = {{0.9, 1.8}, {0.1, 0.25}, false, 0};
    static const notes fast = {{0.04, 0.5}, {0.04, 0.1}, false, 1.5};
    if (sc->kind <= SCORE_MELODY)
        return;
    gsl_rng *r = dice_new(s->seed ^ 0x7e4b7, (uint64_t)take, DICE_SCORE);
    if (sc->kind == SCORE_PORTAMENTO)
        write_notes(r, l, sc, on_s, &leaps);
    else if (sc->kind == SCORE_TRILL || sc->kind == SCORE_DOUBLED)
        write_notes(r, l, sc, on_s, &slow);
    else if (sc->kind == SCORE_ORNAMENTS)
        write_notes(r, l, sc, on_s, &fast);
    else if (sc->kind == SCORE_SONG)
        write_song(r, l, sc, on_s);
    if (sc->kind == SCORE_TRILL)
        write_trill(r, l, on_s);
    else if (sc->kind == SCORE_VOWELS || sc->kind == SCORE_SONG)
        write_vowels(r, l, on_s);
    else if (sc->kind == SCORE_DOUBLED)
        write_doubling(r, l, on_s, off_s);
    if (sc->kind == SCORE_CONSONANTS || sc->kind == SCORE_SONG)
        write_consonants(r, l, on_s, off_s);
    gsl_rng_free(r);
}
