/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/chart.h"

#include "base/note.h"
#include "voice2/chance.h"

#include <math.h>
#include <string.h>

static const char *const names[CHART_KINDS] = {
    "slide",  "siren",      "swell",  "hold",    "scale",      "atwill", "song", "tune",
    "speech", "portamento", "vowels", "doubled", "consonants", "trill",  "fry",  "whistle"};

const char *chart_name(chart_kind k)
{
    return names[k];
}

double chart_ease(double x)
{
    return x <= 0 ? 0 : x >= 1 ? 1 : x * x * (3 - 2 * x);
}

int chart_count(const vocalist *v)
{
    gsl_rng *r = chance_new(cast_get(v->family, v->woman).name, v->seed, 0, "count");
    int n = 8 + (int)gsl_rng_uniform_int(r, 3);
    gsl_rng_free(r);
    return n;
}

static chart slide(gsl_rng *r, const vocalist *v, double more_db, bool up)
{
    chart c = {.kind = CHART_SLIDE, .seconds = chance_in(r, 3.5, 7)};
    double middle = v->edge_st - v->lag_st / 2;
    double lo = middle - chance_in(r, 5, 11), hi = middle + chance_in(r, 4, 9);
    double level = v->middle_db + more_db, tilt = chance_in(r, -1, 3);
    c.from_st = up ? lo : hi;
    c.to_st = up ? hi : lo;
    c.from_db = level + (up ? -tilt : tilt);
    c.to_db = level + (up ? tilt : -tilt);
    return c;
}

static chart swell(gsl_rng *r, const vocalist *v)
{
    chart c = {.kind = CHART_SWELL, .seconds = chance_in(r, 5, 8)};
    c.from_db = v->middle_db - chance_in(r, 6, 12);
    c.to_db = v->middle_db + chance_in(r, 4, 9);
    double at = c.from_db + chance_in(r, 0.2, 0.8) * (c.to_db - c.from_db);
    c.from_st = c.to_st = vocalist_up_st(v, at) - chance_in(r, 0, 1) * v->lag_st;
    return c;
}

static chart at_will(gsl_rng *r, const vocalist *v, double lo_hz, double hi_hz)
{
    chart c = {.kind = CHART_ATWILL, .seconds = chance_in(r, 4, 7)};
    c.rate_hz = chance_in(r, lo_hz, hi_hz);
    c.from_db = c.to_db = v->middle_db + chance_in(r, -5, 4);
    c.from_st = c.to_st = vocalist_up_st(v, c.from_db) - v->lag_st / 2 + chance_in(r, -3, 2);
    return c;
}

/* Somewhere between lowest and highest note of a register, `wide` semitones of it. */
static void range(gsl_rng *r, const vocalist *v, chart *c, double wide)
{
    c->from_db = v->middle_db + chance_in(r, -6, 6);
    c->to_db = c->from_db + chance_in(r, -4, 4);
    double soft = fmin(c->from_db, c->to_db), loud = fmax(c->from_db, c->to_db);
    if (c->pinned == 1) {
        c->to_st = vocalist_down_st(v, soft) - chance_in(r, 0.3, 4);
        c->from_st = c->to_st - wide;
    } else {
        c->from_st = vocalist_up_st(v, loud) + chance_in(r, 0.3, 2.5);
        c->to_st = c->from_st + wide;
    }
}

static chart in_one(gsl_rng *r, const vocalist *v, int reg)
{
    static const chart_kind kinds[6] = {CHART_SLIDE, CHART_SLIDE, CHART_SIREN,
                                        CHART_HOLD,  CHART_SCALE, CHART_SWELL};
    chart c = {.kind = kinds[gsl_rng_uniform_int(r, 6)], .pinned = reg};
    c.seconds = chance_in(r, 4, 7);
    range(r, v, &c, chance_in(r, 4, reg == 1 ? 12 : 8));
    if (c.kind == CHART_SLIDE && chance_of(r, 0.5)) {
        double other = c.from_st;
        c.from_st = c.to_st;
        c.to_st = other;
    }
    if (c.kind == CHART_SWELL) {
        c.from_db = v->middle_db - chance_in(r, 4, 10);
        c.to_db = c.from_db + chance_in(r, 6, 14);
    }
    return c;
}

/* A slide that takes H1 or H2 across F1, near the place where the register is at home. */
static void crossing(gsl_rng *r, const vocalist *v, chart *c)
{
    double home = c->pinned == 1 ? v->edge_st - v->lag_st - 7 : v->edge_st + 5;
    double h1 = note_from_hz(v->throat.f_hz[0]), h2 = h1 - 12;
    double at = fabs(h1 - home) < fabs(h2 - home) ? h1 : h2;
    bool up = chance_of(r, 0.5);
    double low = at - chance_in(r, 3, 6), high = at + chance_in(r, 3, 6);
    c->kind = chance_of(r, 0.7) ? CHART_SLIDE : CHART_SIREN;
    c->from_st = up ? low : high;
    c->to_st = up ? high : low;
}

static char other_vowel(gsl_rng *r, char not_this)
{
    static const char all[] = "aeiou";
    size_t i = gsl_rng_uniform_int(r, 4);
    return all[i] == not_this ? all[4] : all[i];
}

static chart tempting(gsl_rng *r, const vocalist *v, cast_family kind, int reg)
{
    if (kind == CAST_ONE_REGISTER)
        return in_one(r, v, reg);
    chart c = {.pinned = reg, .seconds = chance_in(r, 4, 7)};
    bool wide = kind == CAST_PORTAMENTO || kind == CAST_TUNE;
    range(r, v, &c, wide ? chance_in(r, 7, 12) : chance_in(r, 3, 8));
    switch (kind) {
    case CAST_PORTAMENTO:
        c.kind = CHART_PORTAMENTO;
        break;
    case CAST_VOWEL_CHANGE:
        c.kind = CHART_VOWELS;
        c.vowel_b = other_vowel(r, v->vowel);
        if (chance_of(r, 0.5))
            c.to_st = c.from_st;
        break;
    case CAST_CROSSING:
        crossing(r, v, &c);
        break;
    case CAST_DOUBLING:
        c.kind = CHART_DOUBLED;
        break;
    case CAST_CONSONANTS:
        c.kind = CHART_CONSONANTS;
        break;
    case CAST_FRY:
        c.kind = CHART_FRY;
        break;
    case CAST_WHISTLE:
        c.kind = CHART_WHISTLE;
        break;
    case CAST_TUNE:
        c.kind = CHART_TUNE;
        c.seconds = chance_in(r, 6, 10);
        break;
    default:
        c.kind = CHART_TRILL;
        c.rate_hz = chance_in(r, 4, 7);
        break;
    }
    return c;
}

/* Of a family without flips half the singers have M1 alone, the others M2 alone or a register a
 * take; beside flips the register is drawn for each take. */
static int register_of(const vocalist *v, gsl_rng *take, cast_family kind)
{
    if (kind == CAST_FRY || kind == CAST_WHISTLE) /* next to M1, to M2 */
        return kind == CAST_FRY ? 1 : 2;
    gsl_rng *r = chance_new(cast_get(v->family, v->woman).name, v->seed, 0, "register");
    double u = gsl_rng_uniform(r);
    gsl_rng_free(r);
    int drawn = chance_of(take, 0.6) ? 1 : 2;
    if (cast_beside(v->family))
        return drawn;
    if (kind == CAST_ONE_REGISTER)
        return u < 0.6 ? 1 : 2;
    return u < 0.5 ? 1 : u < 0.75 ? 2 : drawn;
}

static chart with_flips(gsl_rng *r, const vocalist *v, int take)
{
    chart c;
    switch (take) {
    case 0:
        return slide(r, v, chance_in(r, -8, -4), true);
    case 1:
        return slide(r, v, chance_in(r, -2, 2), true);
    case 2:
        return slide(r, v, chance_in(r, 3, 7), true);
    case 3:
        return slide(r, v, chance_in(r, -7, 0), false);
    case 4:
        return slide(r, v, chance_in(r, 0, 6), false);
    case 5:
        c = slide(r, v, chance_in(r, -5, 5), true);
        c.kind = CHART_SIREN;
        c.seconds = chance_in(r, 6, 9);
        return c;
    case 6:
        return swell(r, v);
    case 7:
        return in_one(r, v, chance_of(r, 0.6) ? 1 : 2);
    case 8:
        c = slide(r, v, chance_in(r, -5, 5), true);
        c.kind = CHART_SCALE;
        return c;
    default:
        return at_will(r, v, 0.6, 1.5);
    }
}

static chart song(gsl_rng *r, const vocalist *v)
{
    chart c = {.kind = CHART_SONG, .seconds = chance_in(r, 5, 8)};
    double middle = v->edge_st - v->lag_st / 2;
    c.from_db = c.to_db = v->middle_db + chance_in(r, -6, 6);
    c.from_st = middle - chance_in(r, 5, 9);
    c.to_st = middle + chance_in(r, 5, 9);
    c.vowel_b = other_vowel(r, v->vowel);
    return c;
}

/* A third of the takes in each register, a third in both. */
static chart speech(gsl_rng *r, const vocalist *v, int take)
{
    chart c = {.kind = CHART_SPEECH, .seconds = chance_in(r, 5, 8), .pinned = take % 3};
    c.from_db = c.to_db = v->middle_db + chance_in(r, -6, 6);
    double wide = chance_in(r, 7, 10), middle = v->edge_st - v->lag_st / 2;
    c.from_st = c.pinned == 1   ? vocalist_down_st(v, c.from_db - 6) - wide - chance_in(r, 1, 7)
                : c.pinned == 2 ? vocalist_up_st(v, c.from_db + 6) + chance_in(r, 0.3, 2.5)
                                : middle - chance_in(r, 5, 8);
    c.to_st = c.pinned ? c.from_st + wide : middle + chance_in(r, 4, 7);
    return c;
}

chart chart_plan(const vocalist *v, int take)
{
    gsl_rng *r = chance_new(cast_get(v->family, v->woman).name, v->seed, take, "plan");
    cast_family f = v->family;
    cast_family kind = cast_beside(f) ? f - CAST_BESIDE + CAST_STILL : f;
    bool yodels = f == CAST_YODEL || f == CAST_SYLLABLES || f == CAST_LILT;
    bool flips = f < CAST_STILL || (cast_beside(f) && take % 2 == 0);
    chart c;
    if (f == CAST_SPEECH)
        c = speech(r, v, take);
    else if (f == CAST_SONG && take % 3 != 0)
        c = song(r, v);
    else if (yodels && take % 3 != 0)
        c = at_will(r, v, 0.8, 3);
    else if (f >= CAST_STILL && flips)
        c = with_flips(r, v, take == 4 ? 3 : take == 6 ? 5 : take);
    else
        c = flips ? with_flips(r, v, take) : tempting(r, v, kind, register_of(v, r, kind));
    if ((f == CAST_SYLLABLES || f == CAST_LILT) && c.kind == CHART_ATWILL)
        c.vowel_b = other_vowel(r, v->vowel);
    gsl_rng_free(r);
    return c;
}
