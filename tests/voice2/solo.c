/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/solo.h"

#include "base/array.h"
#include "voice/families.h"
#include "voice/listen.h"
#include "voice/perform.h"
#include "voice2/render.h"

#include <math.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

static const double level_s = 0.05; /* window of the levels that arrive, as in voice/level.h */

soloist soloist_draw(int voice, const char *named, uint64_t seed)
{
    soloist s = {.voice = voice};
    if (voice == 1) {
        s.one = singer_draw(family_by_name(named), seed);
        s.edge_st = s.one.boundary.pitch_st;
        s.middle_db = s.one.boundary.level_db;
    } else {
        s.two = vocalist_draw(cast_by_name(named), seed);
        s.edge_st = s.two.edge_st;
        s.middle_db = s.two.middle_db;
    }
    return s;
}

static track *track_of(size_t n, const double *pitch_st, const double *level_db,
                       const unsigned char *reg)
{
    track *t = track_new("solo", n / 5, 0.005, 0); /* from steps of 1 ms */
    for (size_t i = 0; i < t->n; i++) {
        t->pitch_st[i] = reg[5 * i] ? pitch_st[5 * i] : (double)NAN;
        t->level_db[i] = level_db[5 * i];
        t->reg[i] = reg[5 * i];
    }
    return t;
}

/* What is asked for on top of what the voice does by itself, in n steps of 1 ms. */
static void shape_pitch(const soloist *who, const solo_plan *p, uint64_t seed, int take, size_t n,
                        double *pitch_st, const double *level_db)
{
    for (size_t i = 0; p->cents_per_10_db != 0 && i < n; i++)
        if (isfinite(level_db[i]))
            pitch_st[i] += p->cents_per_10_db * (level_db[i] - who->middle_db) / 1000;
    mouth_pitch(p->by, seed, take, pitch_st, n);
}

static void add_sung(flips *to, double time_s, bool up, double span_ms, double leap_st)
{
    flips_append(to, (flip){.time_s = time_s,
                            .direction = up ? FLIP_UP : FLIP_DOWN,
                            .span_ms = span_ms,
                            .confidence = 1,
                            .leap_cents = 100 * leap_st,
                            .level_step_db = (double)NAN});
}

/* The level just after each flip less that just before it, at the microphone: the source's own step
 * and what the resonances do to the leap. */
static void measure_steps(const track *arrived, flips *sung)
{
    for (size_t i = 0; i < sung->n; i++) {
        flip *f = &sung->items[i];
        double away_s = f->span_ms / 2000 + level_s;
        long before = lround((f->time_s - away_s) / arrived->hop_s);
        long after = lround((f->time_s + away_s) / arrived->hop_s);
        if (before >= 0 && after < (long)arrived->n && arrived->reg[before] && arrived->reg[after])
            f->level_step_db = arrived->level_db[after] - arrived->level_db[before];
    }
}

static solo first_voice(const soloist *by, const solo_plan *p, int take)
{
    static const score_kind kinds[] = {SCORE_HOLD, SCORE_SLIDE, SCORE_SWELL, SCORE_ATWILL};
    const singer *who = &by->one;
    score sc = {.kind = kinds[p->kind],
                .seconds = p->seconds,
                .from_st = p->from_st,
                .to_st = p->to_st,
                .level_db = p->from_db,
                .to_db = p->to_db,
                .held = p->held};
    performance sung = perform(who, &sc, take);
    shape_pitch(by, p, who->seed, take, sung.n, sung.pitch_st, sung.level_db);
    solo s = {.x = sing(who, &sung, take),
              .meant = track_of(sung.n, sung.pitch_st, sung.level_db, sung.reg)};
    for (size_t i = 0; i < sung.n_flips; i++) {
        const sung_flip *f = &sung.flips[i];
        add_sung(&s.sung, f->time_s, f->direction == FLIP_UP, f->span_ms, f->leap_st);
    }
    performance_clear(&sung);
    return s;
}

static solo second_voice(const soloist *by, const solo_plan *p, int take)
{
    static const chart_kind kinds[] = {CHART_HOLD, CHART_SLIDE, CHART_SWELL, CHART_ATWILL};
    const vocalist *who = &by->two;
    chart c = {.kind = kinds[p->kind],
               .seconds = p->seconds,
               .from_st = p->from_st,
               .to_st = p->to_st,
               .from_db = p->from_db,
               .to_db = p->to_db,
               .pinned = p->held,
               .rate_hz = 0.8};
    act sung = enact(who, &c, take);
    shape_pitch(by, p, who->seed, take, sung.n, sung.pitch_st, sung.level_db);
    clip x = render_clean(who, &sung, take);
    solo s = {.x = {.n = x.n, .rate_hz = x.rate_hz, .samples = x.samples},
              .meant = track_of(sung.n, sung.pitch_st, sung.level_db, sung.reg)};
    for (size_t i = 0; i < sung.n_turns; i++) {
        const turn *f = &sung.turns[i];
        add_sung(&s.sung, f->time_s, f->up, f->span_ms, f->to_st - f->from_st);
    }
    act_clear(&sung);
    return s;
}

/* Room, noise and hum. */
static void put_in_place(const soloist *who, sound *x, int take)
{
    clip c = {.n = x->n, .rate_hz = x->rate_hz, .samples = x->samples};
    if (who->voice == 1)
        sing_in_place(&who->one, x, take);
    else
        render_place(&who->two, &c, take);
}

solo solo_sing(const soloist *who, const solo_plan *p, int take)
{
    solo s = who->voice == 1 ? first_voice(who, p, take) : second_voice(who, p, take);
    sound *x = &s.x, still = *x;
    soloist silent = *who;
    silent.one.snr_db = silent.two.snr_db = silent.two.hum_db = INFINITY;
    mouth_sound(p->by, who->voice == 1 ? who->one.seed : who->two.seed, take, x->samples, x->n,
                x->rate_hz);
    still.samples = xmalloc(x->n, sizeof *still.samples);
    memcpy(still.samples, x->samples, x->n * sizeof *x->samples);
    put_in_place(&silent, &still, take);
    put_in_place(who, x, take);
    s.arrived = track_part(s.meant, 0, s.meant->n);
    for (size_t i = 0; i < s.arrived->n; i++)
        s.arrived->level_db[i] = sound_level_db(&still, s.arrived->time_s[i], level_s);
    measure_steps(s.arrived, &s.sung);
    sound_clear(&still);
    return s;
}

void solo_clear(solo *s)
{
    sound_clear(&s->x);
    track_free(s->meant);
    track_free(s->arrived);
    flips_clear(&s->sung);
    *s = (solo){0};
}

track *solo_hear(const sound *x, err *e)
{
    char path[] = "/tmp/solo-XXXXXX";
    SF_INFO info = {
        .samplerate = x->rate_hz, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    SNDFILE *file = sf_open_fd(mkstemp(path), SFM_WRITE, &info, SF_TRUE);
    bool fine = file && sf_writef_double(file, x->samples, (sf_count_t)x->n) == (sf_count_t)x->n;
    if (file)
        sf_close(file);
    voice_settings v = voice_defaults();
    track *t = NULL;
    if (!fine)
        err_set(e, "%s cannot be written.", path);
    else if (!voice_listen(path, &v, &t, NULL, e))
        t = NULL;
    remove(path);
    return t;
}
