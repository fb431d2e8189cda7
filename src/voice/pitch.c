/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/pitch.h"

#include "base/array.h"
#include "voice/fry.h"
#include "voice/late.h"
#include "voice/loudness.h"
#include "voice/lowband.h"
#include "voice/octave.h"
#include "voice/path.h"
#include "voice/phases.h"
#include "voice/tail.h"
#include "voice/voicing.h"

#include <math.h>
#include <stdlib.h>

static const double clear_db = 25;     /* more than that makes no voice surer */
static const double loud_from_db = 20; /* over the gate, from where a frame is not faint */

pitch_settings pitch_defaults(void)
{
    return (pitch_settings){.lo_hz = 55,
                            .hi_hz = 1500,
                            .window_lo_s = 0.010,
                            .window_hi_s = 0.018,
                            .voiced_at = 0.25,
                            .floor = 0.02,
                            .octave_cost = 0.4,
                            .leap_cost = 0.5,
                            .leap_free_st = 0.3,
                            .leap_cap = 3,
                            .far_st = 13.5,
                            .far_cost = 2,
                            .onset_cost = 1,
                            .doubling_brief_s = 0.15,
                            .doubling_s = 1.2,
                            .odds_at_0 = -4.1,
                            .odds_per_db = 0.13,
                            .odds_per_unexplained = 2.2,
                            .odds_per_faint_db = 0.25,
                            .odds_per_fallen_db = 0.28,
                            .odds_without_pitch = -3,
                            .odds_with_folds = 5,
                            .odds_weight = 0.2,
                            .change_per_s = 2,
                            .odds_of_all = 0.45,
                            .voiced_from = 0.22,
                            .gate_db = 45,
                            .loud_db = (double)NAN};
}

bool pitch_check(const pitch_settings *s, err *e)
{
    if (!(s->lo_hz >= 30 && s->lo_hz < s->hi_hz && s->hi_hz <= 2000))
        return err_set(e, "Pitch limits must lie within 30-2000 Hz, the lower one first.");
    if (!(s->window_lo_s >= 0.004 && s->window_lo_s <= s->window_hi_s && s->window_hi_s <= 0.1))
        return err_set(e, "Pitch windows must lie within 4-100 ms, the shorter one first.");
    return true;
}

static double loud_part(const double *level_db, size_t n)
{
    loudness *all = loudness_new();
    loudness_add(all, level_db, n);
    double loud_db = loudness_of(all, 0.95);
    loudness_free(all);
    return loud_db;
}

/* Loudest of the frames within `reach` of from..to, these included. */
static double loudest_about(const double *level_db, size_t n, size_t from, size_t to, size_t reach)
{
    double loudest = -(double)INFINITY;
    for (size_t j = from > reach ? from - reach : 0; j < n && j <= to + reach; j++)
        loudest = fmax(loudest, level_db[j]);
    return loudest;
}

/* Takes the voice from short faint stretches whose pitch is far from that before and after: the
 * ring of a consonant between two sung vowels. */
static void silence_consonants(const double *level_db, size_t n, double *pitch_st)
{
    enum { SHORT = 36, ABOUT = 60 }; /* 180 and 300 ms */
    static const double far_st = 6, faint_db = 14;
    for (size_t i = 0, end; i < n; i = end) {
        end = i + 1;
        if (isnan(pitch_st[i]))
            continue;
        double loud = level_db[i];
        while (end < n && fabs(pitch_st[end] - pitch_st[end - 1]) < far_st)
            loud = fmax(loud, level_db[end++]);
        if (end - i > SHORT || loud > loudest_about(level_db, n, i, end - 1, ABOUT) - faint_db)
            continue;
        for (size_t j = i; j < end; j++)
            pitch_st[j] = (double)NAN;
    }
}

/* How far frame i has fallen from the loudest frame with a pitch in the 300 ms before, beyond what
 * a voice falls that goes on, dB. That is what a room holds of a voice that has ended: its pitch is
 * as clear. */
static double fallen_db(const double *level_db, const double *pitch_st, size_t i)
{
    enum { BEFORE = 60 };
    static const double goes_on = 10, most = 20;
    double loudest = level_db[i];
    for (size_t j = i > BEFORE ? i - BEFORE : 0; j < i; j++)
        if (level_db[j] > loudest && !isnan(pitch_st[j]))
            loudest = level_db[j];
    return fmax(0, fmin(most, loudest - level_db[i] - goes_on));
}

/* Says for every frame how probable voice is, and takes the pitch from those where it is not. */
static void judge(const pitch_settings *s, double hop_s, size_t n, const double *over_gate_db,
                  const double *unexplained, const double *clarity_db, double *pitch_st,
                  double *voicing)
{
    double *odds = xmalloc(n, sizeof *odds);
    for (size_t i = 0; i < n; i++) {
        double alone = s->odds_without_pitch; /* log odds of voice in the frame by itself */
        if (!isnan(pitch_st[i]))
            alone = s->odds_at_0 + s->odds_per_db * fmin(clarity_db[i], clear_db) -
                    s->odds_per_unexplained * unexplained[i] -
                    s->odds_per_faint_db * fmax(0, loud_from_db - over_gate_db[i]) -
                    s->odds_per_fallen_db * fallen_db(over_gate_db, pitch_st, i);
        if (s->opt_folds_st && pitch_of_folds(pitch_st[i], s->opt_folds_st[i]))
            alone = fmax(alone, s->odds_with_folds);
        odds[i] = s->odds_weight * alone;
    }
    voicing_chain(odds, n, s->change_per_s * hop_s, voicing);
    const double against = exp(-s->odds_of_all);
    for (size_t i = 0; i < n; i++) {
        voicing[i] = 1 / (1 + (1 / voicing[i] - 1) * against);
        if (voicing[i] < s->voiced_from)
            pitch_st[i] = (double)NAN;
    }
    free(odds);
}

void pitch_track(const signal *x, double hop_s, size_t n, const double *level_db,
                 const pitch_settings *s, double *pitch_st, double *voicing, unsigned char *doubled)
{
    if (!n)
        return;
    signal low = lowband_of(x), direct = late_taken_off(&low);
    double *over_gate_db = xmalloc(n, sizeof *over_gate_db);
    double *clarity_db = xcalloc(n, sizeof *clarity_db);
    path p = {pitch_st, xmalloc(n, sizeof *p.unexplained), doubled, xmalloc(n, sizeof *p.halved)};
    double gate_db = (isnan(s->loud_db) ? loud_part(level_db, n) : s->loud_db) - s->gate_db;
    for (size_t i = 0; i < n; i++)
        over_gate_db[i] = level_db[i] - gate_db;
    path_find(&direct, hop_s, n, over_gate_db, s, &p);
    size_t brief = (size_t)lround(s->doubling_brief_s / hop_s);
    path_lift_doubling(&p, n, brief, (size_t)lround(s->doubling_s / hop_s));
    path_lift_tripling(&p, n, brief);
    octave_mend(&low, hop_s, n, pitch_st);
    tail_mend(&low, hop_s, n, pitch_st);
    silence_consonants(level_db, n, pitch_st);
    fry_silence(&low, hop_s, n, s->far_st, pitch_st);
    phases_refine(&low, hop_s, n, pitch_st, clarity_db);
    judge(s, hop_s, n, over_gate_db, p.unexplained, clarity_db, pitch_st, voicing);
    for (size_t i = 0; i < n; i++)
        doubled[i] = doubled[i] && !isnan(pitch_st[i]);
    free(over_gate_db);
    free(clarity_db);
    free(p.unexplained);
    free(p.halved);
    signal_clear(&direct);
    signal_clear(&low);
}
