/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/vocalist.h"

#include "base/note.h"
#include "voice2/chance.h"
#include "voice2/glottis.h"

#include <assert.h>
#include <math.h>
#include <string.h>

static double from(gsl_rng *r, const double range[2])
{
    return chance_in(r, range[0], range[1]);
}

static void edge_draw(gsl_rng *r, const cast_row *row, vocalist *v)
{
    v->edge_st = from(r, row->edge_st);
    v->slope = chance_in(r, 0, 0.4);
    v->middle_db = chance_in(r, -40, -31);
    v->scatter_st = chance_in(r, 0.25, 0.9);
    v->lag_st = chance_in(r, 0.5, 4);
}

static void map_fill(vocalist_source *s)
{
    for (int i = 0; i < VOCALIST_MAP; i++)
        s->open[i] = glottis_open_for(VOCALIST_H1H2_DB + i / 2.0, s->skew, INFINITY, 100);
}

/* Open quotient is tied to level in M1 and to pitch in M2 (Henrich et al. 2005, from memory); a
 * falsetto's pulse is the more symmetrical. The step of H1-H2 is that of the whole source, so that
 * the pulse has what the tilt does not. */
static void sources_draw(gsl_rng *r, const cast_row *row, vocalist *v)
{
    vocalist_source *m1 = &v->source[0], *m2 = &v->source[1];
    m1->h1h2_db = chance_in(r, -1.5, 3.5);
    m1->per_db = -chance_in(r, 0.1, 0.4);
    m1->per_st = chance_in(r, -0.1, 0.15);
    m1->skew = chance_in(r, 0.6, 0.72);
    m1->tilt_hz = chance_in(r, 1500, 5000);
    m1->tilt_oct = chance_in(r, 0.02, 0.08);
    m1->air_db = from(r, row->air_db);
    *m2 = *m1;
    double flatter = chance_in(r, 0.2, 0.8), steeper = chance_in(r, 0, 0.3);
    if (!row->even) {
        m2->per_db *= flatter;
        m2->per_st += steeper;
    }
    m2->skew = chance_in(r, 0.55, 0.62);
    m2->tilt_hz *= from(r, row->tilt_share);
    m2->air_db += from(r, row->more_air_db);
    double steps = gsl_rng_uniform(r), gain = from(r, row->gain_db);
    m2->gain_db = steps < 0.6 ? gain : 0;
    map_fill(m1);
    map_fill(m2);
    double step = from(r, row->step_db), fall = chance_in(r, 0.5, 4);
    if (chance_of(r, 0.04)) { /* in a few voices H1-H2 falls into M2 */
        m1->h1h2_db = fmax(m1->h1h2_db, 2) + fall;
        step = -fall;
    }
    double now = vocalist_h1h2_db(v, 1, v->edge_st, v->middle_db) -
                 vocalist_h1h2_db(v, 0, v->edge_st, v->middle_db);
    m2->h1h2_db += step - now;
}

/* A spoken vowel in this singer's size and habit, with the formants above it as in a tube. */
static void throat_draw(gsl_rng *r, vocalist *v)
{
    throat *t = &v->throat;
    double size = chance_in(r, 0.93, 1.07), spacing = (v->woman ? 1170 : 1000) * size;
    bool known = throat_vowel(v->woman, v->vowel, t->f_hz);
    assert(known);
    (void)known;
    v->ring = chance_of(r, 0.3) ? chance_in(r, 0.2, 0.7) : 0;
    for (int i = 0; i < THROAT_FORMANTS; i++) {
        double f = i < THROAT_VOWEL ? t->f_hz[i] * size : (i + 0.5) * spacing;
        t->f_hz[i] = f * chance_in(r, 0.95, 1.05);
    }
    for (int i = 2; i < 5; i++)
        t->f_hz[i] += 0.6 * v->ring * (2.8 * spacing + 250 * (i - 3) - t->f_hz[i]);
    for (int i = 3; i < THROAT_FORMANTS; i++) /* in order and apart, whatever was drawn */
        t->f_hz[i] = fmax(t->f_hz[i], t->f_hz[i - 1] + 220);
    throat_bandwidths(t, chance_in(r, 0.8, 1.5));
    t->open_hz = chance_of(r, 0.7) ? chance_in(r, 20, 160) : 0;
    t->parallel = chance_of(r, 0.4);
    for (int i = 1; i < THROAT_FORMANTS; i++)
        t->odd_db[i] = chance_in(r, -3, 3);
    bool paired = chance_of(r, 0.35), nose = chance_of(r, 0.4);
    double pole = nose ? chance_in(r, 850, 1100) : (v->woman ? 650 : 560) * size;
    t->pole_hz = paired ? pole : 0; /* first resonance below the glottis: Titze 1988 */
    t->zero_hz = pole * chance_in(r, 1.04, 1.12);
    t->pair_hz = chance_in(r, 60, 120);
}

/* Most singers neither shorten the tract nor tune it in M2. */
static void habits_draw(gsl_rng *r, const cast_row *row, vocalist *v)
{
    double tunes = gsl_rng_uniform(r), share = chance_in(r, 0.4, 0.9);
    v->tune = tunes < 0.2 ? 1 : tunes < 0.35 ? 2 : 0;
    v->tune_share = share;
    double shorter = chance_in(r, 0.01, 0.05);
    v->shorter_m2 = chance_of(r, 0.25) ? shorter : 0;
    v->f1_per_db = chance_in(r, 0, 0.005);
    v->wander = chance_in(r, 0.005, 0.025);
    v->ripple = chance_in(r, 0.2, 0.8);
    v->leap_st = from(r, row->leap_st);
    v->leap_down = chance_in(r, 0.5, 1);
    memcpy(v->span_ms, row->span_ms, sizeof v->span_ms);
    for (int i = 0; i < TURN_KINDS; i++)
        v->turns[i] = chance_in(r, 0, 1);
    v->settles = chance_in(r, 0.3, 1);
    double dip = from(r, row->dip_db), ragged = chance_in(r, 0.3, 1);
    v->dip_db = chance_of(r, 0.5) ? dip : 0;
    v->ragged = chance_of(r, 0.45) && v->family != CAST_SMOOTH ? ragged : 0;
    v->vibrato_hz = chance_in(r, 4.6, 6.8);
    double vibrato = from(r, row->vibrato_st);
    v->vibrato_st = chance_of(r, row->vibrato_share) ? vibrato : 0;
    v->vibrato_db = v->vibrato_st > 0 ? chance_in(r, 0, 1.5) : 0;
    v->jitter = chance_in(r, 0.002, 0.008);
    v->shimmer_db = chance_in(r, 0.1, 0.35);
    v->pulsing = chance_in(r, 0.3, 0.95);
}

static void place_draw(gsl_rng *r, const cast_row *row, vocalist *v)
{
    static const int rates[4] = {44100, 48000, 32000, 96000}, depths[3] = {16, 24, 32};
    v->rate_hz = rates[gsl_rng_uniform_int(r, 4)];
    v->bits = depths[gsl_rng_uniform_int(r, 3)];
    v->snr_db = from(r, row->snr_db);
    double hum = v->snr_db + chance_in(r, 2, 12);
    v->hum_db = chance_of(r, 0.35) ? hum : INFINITY;
    v->hum_hz = chance_of(r, 0.5) ? 50 : 60;
    v->dry = !chance_of(r, row->room_share);
    v->direct_db = from(r, row->direct_db);
}

vocalist vocalist_draw(cast_family f, uint64_t seed)
{
    const char *name = cast_get(f, false).name;
    gsl_rng *r = chance_new(name, seed, 0, "vocalist");
    bool woman = chance_of(r, 0.5);
    cast_sex sex = cast_get(f, woman).sex;
    vocalist v = {.family = f, .seed = seed};
    v.woman = sex == CAST_EITHER ? woman : sex == CAST_WOMAN;
    cast_row row = cast_get(f, v.woman);
    v.vowel = row.vowels[gsl_rng_uniform_int(r, strlen(row.vowels))];
    edge_draw(r, &row, &v);
    sources_draw(r, &row, &v);
    throat_draw(r, &v);
    habits_draw(r, &row, &v);
    place_draw(r, &row, &v);
    gsl_rng_free(r);
    return v;
}

static double open_of(const vocalist *v, int reg, double pitch_st, double level_db, double more_db)
{
    const vocalist_source *s = &v->source[reg];
    double h1h2 = s->h1h2_db + s->per_db * (level_db - v->middle_db) +
                  s->per_st * (pitch_st - v->edge_st) + more_db;
    double at = fmin(fmax(2 * (h1h2 - VOCALIST_H1H2_DB), 0), VOCALIST_MAP - 1.001);
    int i = (int)at;
    return s->open[i] + (at - i) * (s->open[i + 1] - s->open[i]);
}

double vocalist_open(const vocalist *v, double weight, double pitch_st, double level_db,
                     double more_db)
{
    return (1 - weight) * open_of(v, 0, pitch_st, level_db, more_db) +
           weight * open_of(v, 1, pitch_st, level_db, more_db);
}

double vocalist_skew(const vocalist *v, double weight)
{
    return (1 - weight) * v->source[0].skew + weight * v->source[1].skew;
}

double vocalist_tilt_hz(const vocalist *v, double weight, double level_db)
{
    double octaves[2];
    for (int i = 0; i < 2; i++)
        octaves[i] = log2(v->source[i].tilt_hz) + v->source[i].tilt_oct * (level_db - v->middle_db);
    return pow(2, (1 - weight) * octaves[0] + weight * octaves[1]);
}

double vocalist_h1h2_db(const vocalist *v, int reg, double pitch_st, double level_db)
{
    glottis g = {open_of(v, reg, pitch_st, level_db, 0), v->source[reg].skew};
    return glottis_h1h2_db(&g, vocalist_tilt_hz(v, reg, level_db), note_to_hz(pitch_st));
}

double vocalist_up_st(const vocalist *v, double level_db)
{
    return v->edge_st + v->slope * (level_db - v->middle_db);
}

double vocalist_down_st(const vocalist *v, double level_db)
{
    return vocalist_up_st(v, level_db) - v->lag_st;
}
