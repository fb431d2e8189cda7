/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How right held is on voices of known truth: prints the tables of docs/held.md.
 *
 * Each singer sings the exercises below, heard together as one singer's takes and judged without a
 * word of what was meant; and then trills and hums beside takes with flips. Truth: of pitch, what
 * was planned; of the register, whether flips were sung; of the level, whether it was planned to
 * move or ranged over 6 dB at the microphone, but for what the register's own step does. Truth of
 * steadiness and leak: the contours that were sung, with the levels that reached the microphone,
 * without noise, jitter and a listener; dB per octave also with those that left the lips, which a
 * room changes on the way.
 *
 * Usage: held FIRST-SEED LAST-SEED [VOICE [FAMILY]] */
#include "base/array.h"
#include "lesson/held.h"
#include "register/decode.h"
#include "voice/listen.h"
#include "voice/mouth.h"
#include "voice/perform.h"
#include "voice/sing.h"
#include "voice2/choir.h"
#include "voice2/render.h"

#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { P = LESSON_PITCH, L = LESSON_LEVEL, R = LESSON_REGISTER, PLANS = 11, MOST = 13 };
enum { HOLD, SLIDE, SWELL, ATWILL };

/* Pitch re the boundary at the middle level, level re the middle. */
typedef struct plan {
    const char *name;
    int kind, reg; /* reg 0: flips may come */
    double from_st, to_st, from_db, to_db;
    double cents_per_10_db; /* planted in the pitch */
    int moves;              /* register apart */
    mouth by;               /* trilled, hummed */
} plan;

static const plan open_plans[PLANS] = {
    {"hold in M1", HOLD, 1, -7, -7, 0, 0, 0, 0, MOUTH_OPEN},
    {"hold in M2", HOLD, 2, 4, 4, 0, 0, 0, 0, MOUTH_OPEN},
    {"slide in M1", SLIDE, 1, -15, -3, 0, 0, 0, P, MOUTH_OPEN},
    {"slide in M2", SLIDE, 2, -2, 9, 0, 0, 0, P, MOUTH_OPEN},
    {"slide in M1, 4 dB louder", SLIDE, 1, -15, -3, -2, 2, 0, P, MOUTH_OPEN},
    {"swell in M1, 30 cents/10 dB", SWELL, 1, -9, -9, -8, 8, 30, L, MOUTH_OPEN},
    {"swell in M2, -20 cents/10 dB", SWELL, 2, 3, 3, -8, 8, -20, L, MOUTH_OPEN},
    {"slide through the flip", SLIDE, 0, -9, 8, 0, 0, 0, P, MOUTH_OPEN},
    {"swell through the flip", SWELL, 0, 0, 0, -8, 8, 0, L, MOUTH_OPEN},
    {"register alone", ATWILL, 0, -1, -1, 0, 0, 0, 0, MOUTH_OPEN},
    {"slide in M1, 14 dB louder", SLIDE, 1, -15, -3, -7, 7, 0, P | L, MOUTH_OPEN},
};

/* Trills and humming beside takes with flips, which alone are judged. */
enum { BESIDE = 4 };
static const plan mouth_plans[MOST] = {
    {"slide", SLIDE, 0, -9, 8, 0, 0, 0, P, MOUTH_OPEN},
    {"swell", SWELL, 0, 0, 0, -8, 8, 0, L, MOUTH_OPEN},
    {"slide in M1", SLIDE, 1, -15, -3, 0, 0, 0, P, MOUTH_OPEN},
    {"hold in M2", HOLD, 2, 4, 4, 0, 0, 0, 0, MOUTH_OPEN},
    {"lip trill, slide in M1", SLIDE, 1, -15, -3, 0, 0, 0, P, MOUTH_LIPS},
    {"lip trill, slide in M2", SLIDE, 2, -2, 9, 0, 0, 0, P, MOUTH_LIPS},
    {"lip trill, swell in M1", SWELL, 1, -9, -9, -8, 8, 0, L, MOUTH_LIPS},
    {"tongue trill, slide in M1", SLIDE, 1, -15, -3, 0, 0, 0, P, MOUTH_TONGUE},
    {"tongue trill, slide in M2", SLIDE, 2, -2, 9, 0, 0, 0, P, MOUTH_TONGUE},
    {"tongue trill, swell in M1", SWELL, 1, -9, -9, -8, 8, 0, L, MOUTH_TONGUE},
    {"humming, slide in M1", SLIDE, 1, -15, -3, 0, 0, 0, P, MOUTH_HUM},
    {"humming, slide in M2", SLIDE, 2, -2, 9, 0, 0, 0, P, MOUTH_HUM},
    {"humming, swell in M1", SWELL, 1, -9, -9, -8, 8, 0, L, MOUTH_HUM},
};

/* A take as it was sung. */
typedef struct take {
    track *meant, *heard, *arrived; /* arrived: levels at the microphone, without its noise */
    flips sung, found;
    int moves;
} take;

static void die(const char *why)
{
    fprintf(stderr, "held: %s\n", why);
    exit(1);
}

static track *hear(const double *samples, size_t n, int rate_hz)
{
    char path[] = "/tmp/held-XXXXXX";
    SF_INFO info = {
        .samplerate = rate_hz, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    SNDFILE *file = sf_open_fd(mkstemp(path), SFM_WRITE, &info, SF_TRUE);
    if (!file || sf_writef_double(file, samples, (sf_count_t)n) != (sf_count_t)n)
        die("no room for a take");
    sf_close(file);
    voice_settings v = voice_defaults();
    track *t;
    err e = {""};
    if (!voice_listen(path, &v, &t, NULL, &e))
        die(e.text);
    remove(path);
    return t;
}

static track *mean(size_t n, const double *pitch_st, const double *level_db,
                   const unsigned char *reg)
{
    track *t = track_new("meant", n / 5, 0.005, 0);
    for (size_t i = 0; i < t->n; i++) {
        t->pitch_st[i] = reg[5 * i] ? pitch_st[5 * i] : (double)NAN;
        t->level_db[i] = level_db[5 * i];
        t->reg[i] = reg[5 * i];
    }
    return t;
}

static void plant(const plan *p, size_t n, double *pitch_st, const double *level_db, double mid_db)
{
    for (size_t i = 0; p->cents_per_10_db != 0 && i < n; i++)
        if (isfinite(level_db[i]))
            pitch_st[i] += p->cents_per_10_db * (level_db[i] - mid_db) / 1000;
}

static void add_sung(flips *to, double time_s, bool up, double span_ms, double leap_st,
                     double gain_db)
{
    flips_append(to, (flip){.time_s = time_s,
                            .direction = up ? FLIP_UP : FLIP_DOWN,
                            .span_ms = span_ms,
                            .confidence = 1,
                            .leap_cents = 100 * leap_st,
                            .level_step_db = up ? gain_db : -gain_db});
}

static take first_voice(const singer *who, const plan *p, int number)
{
    static const score_kind kinds[] = {SCORE_HOLD, SCORE_SLIDE, SCORE_SWELL, SCORE_ATWILL};
    double st = who->boundary.pitch_st, db = who->boundary.level_db;
    score sc = {.kind = kinds[p->kind],
                .seconds = 6,
                .from_st = st + p->from_st,
                .to_st = st + p->to_st,
                .level_db = db + p->from_db,
                .to_db = db + p->to_db,
                .held = p->reg};
    performance sung = perform(who, &sc, number);
    plant(p, sung.n, sung.pitch_st, sung.level_db, db);
    mouth_pitch(p->by, who->seed, number, sung.pitch_st, sung.n);
    sound x = sing(who, &sung, number), clean;
    singer silent = *who;
    silent.snr_db = INFINITY;
    mouth_sound(p->by, who->seed, number, x.samples, x.n, x.rate_hz);
    clean = x;
    clean.samples = xmalloc(x.n, sizeof *clean.samples);
    memcpy(clean.samples, x.samples, x.n * sizeof *x.samples);
    sing_in_place(&silent, &clean, number);
    sing_in_place(who, &x, number);
    take t = {.meant = mean(sung.n, sung.pitch_st, sung.level_db, sung.reg),
              .arrived = mean(sung.n, sung.pitch_st, sung.level_db, sung.reg),
              .heard = hear(x.samples, x.n, x.rate_hz),
              .moves = p->moves | (sung.n_flips ? R : 0)};
    for (size_t i = 0; i < t.arrived->n; i++)
        t.arrived->level_db[i] = sound_level_db(&clean, t.arrived->time_s[i], 0.05);
    for (size_t i = 0; i < sung.n_flips; i++) {
        const sung_flip *f = &sung.flips[i];
        add_sung(&t.sung, f->time_s, f->direction == FLIP_UP, f->span_ms, f->leap_st,
                 who->source[1].gain_db - who->source[0].gain_db);
    }
    sound_clear(&clean);
    sound_clear(&x);
    performance_clear(&sung);
    return t;
}

static take second_voice(const vocalist *who, const plan *p, int number)
{
    static const chart_kind kinds[] = {CHART_HOLD, CHART_SLIDE, CHART_SWELL, CHART_ATWILL};
    chart c = {.kind = kinds[p->kind],
               .seconds = 6,
               .from_st = who->edge_st + p->from_st,
               .to_st = who->edge_st + p->to_st,
               .from_db = who->middle_db + p->from_db,
               .to_db = who->middle_db + p->to_db,
               .pinned = p->reg,
               .rate_hz = 0.8};
    act sung = enact(who, &c, number);
    plant(p, sung.n, sung.pitch_st, sung.level_db, who->middle_db);
    mouth_pitch(p->by, who->seed, number, sung.pitch_st, sung.n);
    clip x = render_clean(who, &sung, number), clean;
    vocalist silent = *who;
    silent.snr_db = silent.hum_db = INFINITY;
    mouth_sound(p->by, who->seed, number, x.samples, x.n, x.rate_hz);
    clean = x;
    clean.samples = xmalloc(x.n, sizeof *clean.samples);
    memcpy(clean.samples, x.samples, x.n * sizeof *x.samples);
    render_place(&silent, &clean, number);
    render_place(who, &x, number);
    take t = {.meant = mean(sung.n, sung.pitch_st, sung.level_db, sung.reg),
              .arrived = mean(sung.n, sung.pitch_st, sung.level_db, sung.reg),
              .heard = hear(x.samples, x.n, x.rate_hz),
              .moves = p->moves | (sung.n_turns ? R : 0)};
    for (size_t i = 0; i < t.arrived->n; i++)
        t.arrived->level_db[i] = clip_level_db(&clean, t.arrived->time_s[i], 0.05);
    for (size_t i = 0; i < sung.n_turns; i++) {
        const turn *f = &sung.turns[i];
        add_sung(&t.sung, f->time_s, f->up, f->span_ms, f->to_st - f->from_st,
                 who->source[1].gain_db - who->source[0].gain_db);
    }
    clip_clear(&clean);
    clip_clear(&x);
    act_clear(&sung);
    return t;
}

/* What a row of a table counts. */
enum { CENTS, DB, DB_PER_OCTAVE, CENTS_PER_10_DB, DB_PER_OCTAVE_SUNG, FIGURES };
typedef struct count {
    size_t takes, moved, by[3]; /* all three right; pitch, level, register right */
    size_t known;               /* all three right when the registers are given as sung */
    size_t untold;              /* the register cannot be told */
    size_t figures[FIGURES], within[FIGURES];
    double worst[FIGURES];
} count;
static const double tolerance[FIGURES] = {5, 0.5, 0.3, 3, 0.3};
static const double relative[FIGURES] = {0, 0, 0.1, 0.1, 0.1};

static void compare(count *c, int figure, double ref, double got)
{
    double off = fabs(got - ref);
    if (isnan(ref))
        return;
    bool within = off <= fmax(tolerance[figure], relative[figure] * fabs(ref));
    c->figures[figure]++;
    c->within[figure] += within;
    c->worst[figure] = fmax(c->worst[figure], isnan(off) ? (double)INFINITY : off);
    if (!within)
        fprintf(stderr, "figure %d: sung %.2f, heard %.2f\n", figure, ref, got);
}

/* Steadiness and leak are judged where one register was held, as declared. */
static void judge_figures(count *c, const plan *p, const take *t)
{
    const held_settings s = held_defaults();
    flips none = {0};
    int hold = LESSON_ALL & ~p->moves;
    held_score ref = held_judge(t->arrived, &none, hold, p->moves, &s);
    held_score got = held_judge(t->heard, &t->found, hold, p->moves, &s);
    compare(c, CENTS, ref.pitch_steady_cents, got.pitch_steady_cents);
    compare(c, DB, ref.level_steady_db, got.level_steady_db);
    if (p->moves == L)
        compare(c, CENTS_PER_10_DB, ref.cents_per_10_db, got.cents_per_10_db);
    if (p->moves != P)
        return;
    compare(c, DB_PER_OCTAVE, ref.db_per_octave, got.db_per_octave);
    if (p->by == MOUTH_OPEN) {
        ref = held_judge(t->meant, &none, hold, p->moves, &s);
        compare(c, DB_PER_OCTAVE_SUNG, ref.db_per_octave, got.db_per_octave);
    }
}

/* The level moves unmeant as well, with the resonances of mouth and room. */
static int moves_of(const take *t)
{
    const held_settings s = held_defaults();
    return t->moves | (held_judge(t->arrived, &t->sung, -1, -1, &s).moved & L);
}

/* What is told to move when every register and flip is as sung. */
static held_score judge_known(const take *t)
{
    const held_settings s = held_defaults();
    track *k = track_part(t->heard, 0, t->heard->n);
    for (size_t i = 0; i < k->n; i++)
        k->reg[i] = isnan(k->pitch_st[i]) || i >= t->meant->n ? 0 : t->meant->reg[i];
    held_score h = held_judge(k, &t->sung, -1, -1, &s);
    track_free(k);
    return h;
}

static count judge(const plan *p, const take *t, const char *who)
{
    const held_settings s = held_defaults();
    held_score h = held_judge(t->heard, &t->found, -1, -1, &s), known = judge_known(t);
    int moves = moves_of(t);
    count c = {.takes = 1,
               .moved = h.moved == moves,
               .known = known.moved == moves,
               .untold = (h.untold & R) != 0};
    for (int k = 0; k < 3; k++)
        c.by[k] = (h.moved >> k & 1) == (moves >> k & 1);
    if (!c.moved || !c.known)
        fprintf(stderr,
                "%s, %s: moved %d, heard %d (%zu flips, %zu doubtful, %.2f st, %.1f dB), registers "
                "known %d (%zu flips)\n",
                who, p->name, moves, h.moved, h.flips, h.doubtful, h.pitch_range_st,
                h.level_range_db, known.moved, known.flips);
    if (p->reg)
        judge_figures(&c, p, t);
    return c;
}

static void add(count *to, const count *c)
{
    to->takes += c->takes;
    to->moved += c->moved;
    to->known += c->known;
    to->untold += c->untold;
    for (int k = 0; k < 3; k++)
        to->by[k] += c->by[k];
    for (int k = 0; k < FIGURES; k++) {
        to->figures[k] += c->figures[k];
        to->within[k] += c->within[k];
        to->worst[k] = fmax(to->worst[k], c->worst[k]);
    }
}

/* The first `unjudged` are sung and heard, no more. */
static void one_singer(int voice, const char *named, uint64_t seed, const plan *plans, int n,
                       int unjudged, count *by_plan, count *by_family)
{
    take takes[MOST];
    track *tracks[MOST];
    flips found[MOST] = {{0}};
    register_settings r = register_defaults();
    register_summary summary;
    char who[80];
    snprintf(who, sizeof who, "voice %d, %s %d", voice, named, (int)seed);
    singer one = singer_draw(voice == 1 ? family_by_name(named) : FAMILY_CLEAR, seed);
    vocalist two = vocalist_draw(voice == 2 ? cast_by_name(named) : CAST_CLEAR, seed);
    for (int k = 0; k < n; k++) {
        takes[k] = voice == 1 ? first_voice(&one, &plans[k], k) : second_voice(&two, &plans[k], k);
        tracks[k] = takes[k].heard;
    }
    register_decode(tracks, (size_t)n, &r, found, &summary);
    for (int k = 0; k < n; k++) {
        takes[k].found = found[k];
        if (k >= unjudged) {
            count c = judge(&plans[k], &takes[k], who);
            add(&by_plan[k], &c);
            add(by_family, &c);
        }
        flips_clear(&found[k]);
        flips_clear(&takes[k].sung);
        track_free(takes[k].heard);
        track_free(takes[k].arrived);
        track_free(takes[k].meant);
    }
}

static void heading(const char *first, const char *third)
{
    printf("\n| %s | takes | all three right | %s | pitch | level | register | cents | dB | "
           "dB/octave | cents/10 dB | dB/octave at the lips |\n"
           "|---|---|---|---|---|---|---|---|---|---|---|---|\n",
           first, third);
}

static void row(const char *name, const count *c, size_t third)
{
    double n = (double)c->takes / 100;
    printf("| %s | %zu | %.1f %% | %.1f | %.1f | %.1f | %.1f |", name, c->takes,
           (double)c->moved / n, (double)third / n, (double)c->by[0] / n, (double)c->by[1] / n,
           (double)c->by[2] / n);
    for (int k = 0; k < FIGURES; k++)
        if (c->figures[k])
            printf(" %zu/%zu, %.2f |", c->within[k], c->figures[k], c->worst[k]);
        else
            printf(" |");
    printf("\n");
    fflush(stdout);
}

/* Of the arguments: what is sung. */
typedef struct choice {
    long first, last;
    int voice; /* 0: both */
    const char *family;
} choice;

static void table(const choice *w, const plan *plans, int n, int unjudged)
{
    bool trilled = unjudged > 0;
    const char *third = trilled ? "register untold" : "registers as sung";
    count by_plan[MOST] = {{0}}, all = {0};
    heading("voice, family", third);
    for (int voice = 1; voice <= CHOIR_VOICES; voice++)
        for (int f = 0; f < choir_families(voice) && !choir_still(voice, f); f++) {
            const char *named = choir_name(voice, f);
            count c = {0};
            if ((w->voice && w->voice != voice) || (w->family && strcmp(w->family, named) != 0))
                continue;
            for (long seed = w->first; seed <= w->last; seed++)
                one_singer(voice, named, (uint64_t)seed, plans, n, unjudged, by_plan, &c);
            char *name = xformat("%d, %s", voice, named);
            row(name, &c, trilled ? c.untold : c.known);
            free(name);
            add(&all, &c);
        }
    row("all", &all, trilled ? all.untold : all.known);
    heading("exercise", third);
    for (int k = unjudged; k < n; k++)
        row(plans[k].name, &by_plan[k], trilled ? by_plan[k].untold : by_plan[k].known);
}

int main(int argc, char **argv)
{
    if (argc < 3)
        die("usage: held FIRST-SEED LAST-SEED [VOICE [FAMILY]]");
    choice w = {.first = strtol(argv[1], NULL, 10), .last = strtol(argv[2], NULL, 10)};
    w.voice = argc > 3 ? (int)strtol(argv[3], NULL, 10) : 0;
    w.family = argc > 4 ? argv[4] : NULL;
    printf("Seeds %ld to %ld.\n", w.first, w.last);
    table(&w, open_plans, PLANS, 0);
    table(&w, mouth_plans, MOST, BESIDE);
    return 0;
}
