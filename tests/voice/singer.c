/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/singer.h"

#include "voice/dice.h"

#include <assert.h>
#include <math.h>

static double from(gsl_rng *r, const double range[2])
{
    return dice_between(r, range[0], range[1]);
}

static singer_boundary boundary_draw(gsl_rng *r, bool woman)
{
    singer_boundary b;
    b.pitch_st = woman ? dice_between(r, 64, 71) : dice_between(r, 58, 67);
    b.slope = dice_between(r, 0, 0.35);
    b.level_db = dice_between(r, -36, -28);
    b.spread = dice_between(r, 0.3, 0.9);
    b.hysteresis = dice_between(r, 0.5, 4);
    return b;
}

static void sources_draw(gsl_rng *r, const family_row *row, singer_source s[2])
{
    double step = from(r, row->step_db);
    bool falls = dice_chance(r, 0.04); /* in some voices H1-H2 falls into M2 */
    s[0].h1h2_db = dice_between(r, 1.5, 6.5);
    s[1].h1h2_db = s[0].h1h2_db + (falls ? -step : step);
    if (falls)
        s[0].h1h2_db += step, s[1].h1h2_db += step;
    s[0].per_db = -dice_between(r, 0.15, 0.45);
    s[0].per_st = dice_between(r, -0.1, 0.3);
    double flatter = dice_between(r, 0.4, 1), rise = dice_between(r, -0.1, 0.15);
    s[1].per_db = row->same_slopes ? s[0].per_db : s[0].per_db * flatter;
    s[1].per_st = row->same_slopes ? s[0].per_st : s[0].per_st + rise;
    s[0].ra_factor = dice_between(r, 0.6, 1.2);
    s[1].ra_factor = s[0].ra_factor * from(r, row->ra_ratio);
    s[0].gain_db = 0;
    s[1].gain_db = dice_between(r, -4, 0.5);
    s[0].noise_db = from(r, row->noise_m1_db);
    s[1].noise_db = s[0].noise_db + from(r, row->noise_more_db);
    for (int i = 0; i < 2; i++)
        s[i].map = lf_map_new(s[i].ra_factor);
}

static void habits_draw(gsl_rng *r, const family_row *row, singer *s)
{
    s->articulation = dice_between(r, 0.008, 0.03);
    s->f1_per_db = dice_between(r, 0.001, 0.006);
    s->f1_follow = dice_between(r, 0.8, 1.08);
    s->shorter_m2 = dice_between(r, -0.01, 0.03);
    s->damping = dice_between(r, 0, 1.5);
    s->ripple = dice_between(r, 0.3, 0.7);
    s->leap_st = from(r, row->leap_st);
    s->leap_down = dice_between(r, 0.6, 1);
    s->span_ms[0] = row->span_ms[0];
    s->span_ms[1] = row->span_ms[1];
    s->settle = dice_between(r, 0.4, 1);
    s->dip_db = dice_chance(r, 0.6) ? dice_between(r, 0, 6) : 0;
    s->rough = dice_chance(r, 0.4) ? dice_between(r, 1, 5) : 1;
    s->vibrato_hz = dice_between(r, 4.5, 7);
    s->vibrato_st = dice_chance(r, 0.7) ? dice_between(r, 0, 1) : 0;
    s->vibrato_db = dice_chance(r, 0.5) ? dice_between(r, 0, 1.5) : 0;
    s->jitter = dice_between(r, 0.002, 0.01);
    s->shimmer_db = dice_between(r, 0.1, 0.4);
    s->pulsing = dice_between(r, 0.3, 0.9);
}

static void place_draw(gsl_rng *r, const family_row *row, singer *s)
{
    static const int rates[4] = {16000, 22050, 44100, 48000};
    s->rate_hz = rates[dice_whole(r, 0, 3)];
    s->snr_db = from(r, row->snr_db);
    s->dry = !dice_chance(r, row->room_share);
    s->direct_db = from(r, row->direct_db);
    s->rt60_s = from(r, row->rt60_s);
}

bool singer_draws_woman(family f, uint64_t seed)
{
    gsl_rng *r = dice_new(seed, 1, DICE_SINGER);
    bool woman = dice_chance(r, 0.5);
    gsl_rng_free(r);
    family_sex sex = family_get(f)->sex;
    return sex == SEX_EITHER ? woman : sex == SEX_WOMAN;
}

/* What a family asks beyond its row, from a stream of its own. */
static void extra_draw(singer *s, family f, uint64_t seed)
{
    family_more more = family_extra(f);
    gsl_rng *r = dice_new(seed, 2, DICE_SINGER);
    double edge = from(r, more.edge_st), vibrato = from(r, more.vibrato_st);
    double per_st = from(r, more.m1_per_st), gain = from(r, more.m2_gain_db);
    gsl_rng_free(r);
    if (more.edge_st[1] > 0)
        s->boundary.pitch_st = edge;
    if (more.vibrato_st[1] > 0)
        s->vibrato_st = vibrato;
    if (more.m1_per_st[1] > 0)
        s->source[0].per_st = per_st, s->source[1].gain_db = gain;
    if (family_kind(f) == FAMILY_TRILL)
        s->vibrato_st = 0;
}

static char vowel_draw(family f, uint64_t seed)
{
    static const char crossed[3] = {'o', 'u', 'i'};
    gsl_rng *r = dice_new(seed, 3, DICE_SINGER);
    char vowel = crossed[dice_whole(r, 0, 2)];
    gsl_rng_free(r);
    return family_kind(f) == FAMILY_CROSSING ? vowel : family_get(f)->vowel;
}

singer singer_draw_as(family f, uint64_t seed, bool woman, char vowel)
{
    const family_row *row = family_get(f);
    gsl_rng *r = dice_new(seed, 0, DICE_SINGER);
    singer s = {.family = f, .seed = seed, .woman = woman, .vowel = vowel};
    s.boundary = boundary_draw(r, woman);
    sources_draw(r, row, s.source);
    habits_draw(r, row, &s);
    place_draw(r, row, &s);
    extra_draw(&s, f, seed);
    bool known = tract_draw(r, woman, vowel, s.rate_hz, &s.tract);
    assert(known);
    (void)known;
    gsl_rng_free(r);
    return s;
}

singer singer_draw(family f, uint64_t seed)
{
    uint64_t own = seed ^ dice_seed(family_get(f)->name); /* families share no singers */
    return singer_draw_as(f, own, singer_draws_woman(f, own), vowel_draw(f, own));
}

static double register_rd(const singer *s, int reg, double pitch_st, double level_db,
                          double more_db)
{
    const singer_source *source = &s->source[reg];
    double h1h2 = source->h1h2_db + source->per_db * (level_db - s->boundary.level_db) +
                  source->per_st * (pitch_st - s->boundary.pitch_st) + more_db;
    return lf_map_rd(&source->map, h1h2);
}

double singer_rd(const singer *s, double weight, double pitch_st, double level_db, double more_db)
{
    double rd = 0;
    if (weight < 1)
        rd += (1 - weight) * register_rd(s, 0, pitch_st, level_db, more_db);
    if (weight > 0)
        rd += weight * register_rd(s, 1, pitch_st, level_db, more_db);
    return rd;
}

double singer_ra_factor(const singer *s, double weight)
{
    return (1 - weight) * s->source[0].ra_factor + weight * s->source[1].ra_factor;
}

double singer_up_st(const singer *s, double level_db)
{
    return s->boundary.pitch_st + s->boundary.slope * (level_db - s->boundary.level_db);
}

double singer_down_st(const singer *s, double level_db)
{
    return singer_up_st(s, level_db) - s->boundary.hysteresis;
}
