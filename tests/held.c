/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How right held is on voices of known truth: prints the tables of docs/held.md.
 *
 * Each singer sings the exercises below, heard together as one singer's takes and judged without a
 * word of what was meant. Truth: of pitch, what was planned; of the register, whether flips were
 * sung; of the level, whether what was sung ranged over 6 dB, since the resonances of the mouth
 * move it unmeant, but where there may be flips what was planned. Truth of steadiness and leak: the
 * contours that were sung, without noise, jitter and a listener.
 *
 * Usage: held FIRST-SEED LAST-SEED [VOICE [FAMILY]] */
#include "base/array.h"
#include "lesson/held.h"
#include "register/decode.h"
#include "voice/listen.h"
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

enum { P = LESSON_PITCH, L = LESSON_LEVEL, R = LESSON_REGISTER, PLANS = 11 };
enum { HOLD, SLIDE, SWELL, ATWILL };

/* Pitch re the boundary at the middle level, level re the middle. */
typedef struct plan {
    const char *name;
    int kind, reg; /* reg 0: flips may come */
    double from_st, to_st, from_db, to_db;
    double cents_per_10_db; /* planted in the pitch */
    int moves;              /* register apart */
} plan;

static const plan plans[PLANS] = {
    {"hold in M1", HOLD, 1, -7, -7, 0, 0, 0, 0},
    {"hold in M2", HOLD, 2, 4, 4, 0, 0, 0, 0},
    {"slide in M1", SLIDE, 1, -15, -3, 0, 0, 0, P},
    {"slide in M2", SLIDE, 2, -2, 9, 0, 0, 0, P},
    {"slide in M1, 4 dB louder", SLIDE, 1, -15, -3, -2, 2, 0, P},
    {"swell in M1, 30 cents/10 dB", SWELL, 1, -9, -9, -8, 8, 30, L},
    {"swell in M2, -20 cents/10 dB", SWELL, 2, 3, 3, -8, 8, -20, L},
    {"slide through the flip", SLIDE, 0, -9, 8, 0, 0, 0, P},
    {"swell through the flip", SWELL, 0, 0, 0, -8, 8, 0, L},
    {"register alone", ATWILL, 0, -1, -1, 0, 0, 0, 0},
    {"slide in M1, 14 dB louder", SLIDE, 1, -15, -3, -7, 7, 0, P | L},
};

/* A take as it was sung. */
typedef struct take {
    track *meant, *heard;
    flips found;
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
    sound x = sing(who, &sung, number);
    sing_in_place(who, &x, number);
    take t = {.meant = mean(sung.n, sung.pitch_st, sung.level_db, sung.reg),
              .heard = hear(x.samples, x.n, x.rate_hz),
              .moves = p->moves | (sung.n_flips ? R : 0)};
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
    clip x = render_clean(who, &sung, number);
    render_place(who, &x, number);
    take t = {.meant = mean(sung.n, sung.pitch_st, sung.level_db, sung.reg),
              .heard = hear(x.samples, x.n, x.rate_hz),
              .moves = p->moves | (sung.n_turns ? R : 0)};
    clip_clear(&x);
    act_clear(&sung);
    return t;
}

/* What a row of a table counts. */
typedef struct count {
    size_t takes, moved, by[3]; /* all three right; pitch, level, register right */
    size_t figures[4], within[4];
    double worst[4]; /* cents, dB, dB/octave, cents/10 dB */
} count;
static const double tolerance[4] = {5, 0.5, 0.3, 3};

static void compare(count *c, int figure, double ref, double got, double relative)
{
    double off = fabs(got - ref);
    if (isnan(ref))
        return;
    c->figures[figure]++;
    c->within[figure] += off <= fmax(tolerance[figure], relative * fabs(ref));
    c->worst[figure] = fmax(c->worst[figure], isnan(off) ? (double)INFINITY : off);
}

/* Steadiness and leak are judged where one register was held, as declared. */
static void judge_figures(count *c, const plan *p, const take *t)
{
    const held_settings s = held_defaults();
    flips none = {0};
    int hold = LESSON_ALL & ~p->moves;
    held_score ref = held_judge(t->meant, &none, hold, p->moves, &s);
    held_score got = held_judge(t->heard, &t->found, hold, p->moves, &s);
    compare(c, 0, ref.pitch_steady_cents, got.pitch_steady_cents, 0);
    compare(c, 1, ref.level_steady_db, got.level_steady_db, 0);
    if (p->moves == P)
        compare(c, 2, ref.db_per_octave, got.db_per_octave, 0.1);
    if (p->moves == L)
        compare(c, 3, ref.cents_per_10_db, got.cents_per_10_db, 0);
}

static int moves_of(const plan *p, const take *t)
{
    const held_settings s = held_defaults();
    flips none = {0};
    if (!p->reg || p->moves & L)
        return t->moves;
    return t->moves | (held_judge(t->meant, &none, -1, -1, &s).moved & L);
}

static count judge(const plan *p, const take *t, const char *who)
{
    const held_settings s = held_defaults();
    held_score h = held_judge(t->heard, &t->found, -1, -1, &s);
    int moves = moves_of(p, t);
    count c = {.takes = 1, .moved = h.moved == moves};
    for (int k = 0; k < 3; k++)
        c.by[k] = (h.moved >> k & 1) == (moves >> k & 1);
    if (h.moved != moves)
        fprintf(stderr, "%s, %s: moved %d, heard %d (%zu flips, %zu doubtful, %.2f st, %.1f dB)\n",
                who, p->name, moves, h.moved, h.flips, h.doubtful, h.pitch_range_st,
                h.level_range_db);
    if (p->reg)
        judge_figures(&c, p, t);
    return c;
}

static void add(count *to, const count *c)
{
    to->takes += c->takes;
    to->moved += c->moved;
    for (int k = 0; k < 3; k++)
        to->by[k] += c->by[k];
    for (int k = 0; k < 4; k++) {
        to->figures[k] += c->figures[k];
        to->within[k] += c->within[k];
        to->worst[k] = fmax(to->worst[k], c->worst[k]);
    }
}

static void one_singer(int voice, const char *named, uint64_t seed, count by_plan[PLANS],
                       count *by_family)
{
    take takes[PLANS];
    track *tracks[PLANS];
    flips found[PLANS] = {{0}};
    register_settings r = register_defaults();
    register_summary summary;
    char who[80];
    snprintf(who, sizeof who, "voice %d, %s %d", voice, named, (int)seed);
    singer one = singer_draw(voice == 1 ? family_by_name(named) : FAMILY_CLEAR, seed);
    vocalist two = vocalist_draw(voice == 2 ? cast_by_name(named) : CAST_CLEAR, seed);
    for (int k = 0; k < PLANS; k++) {
        takes[k] = voice == 1 ? first_voice(&one, &plans[k], k) : second_voice(&two, &plans[k], k);
        tracks[k] = takes[k].heard;
    }
    register_decode(tracks, PLANS, &r, found, &summary);
    for (int k = 0; k < PLANS; k++) {
        takes[k].found = found[k];
        count c = judge(&plans[k], &takes[k], who);
        add(&by_plan[k], &c);
        add(by_family, &c);
        flips_clear(&found[k]);
        track_free(takes[k].heard);
        track_free(takes[k].meant);
    }
}

static void heading(const char *first)
{
    printf("\n| %s | takes | all three right | pitch | level | register | cents | dB | dB/octave | "
           "cents/10 dB |\n|---|---|---|---|---|---|---|---|---|---|\n",
           first);
}

static void row(const char *name, const count *c)
{
    double n = (double)c->takes / 100;
    printf("| %s | %zu | %.1f %% | %.1f | %.1f | %.1f |", name, c->takes, (double)c->moved / n,
           (double)c->by[0] / n, (double)c->by[1] / n, (double)c->by[2] / n);
    for (int k = 0; k < 4; k++)
        if (c->figures[k])
            printf(" %zu/%zu, %.2f |", c->within[k], c->figures[k], c->worst[k]);
        else
            printf(" |");
    printf("\n");
    fflush(stdout);
}

int main(int argc, char **argv)
{
    if (argc < 3)
        die("usage: held FIRST-SEED LAST-SEED [VOICE [FAMILY]]");
    long first = strtol(argv[1], NULL, 10), last = strtol(argv[2], NULL, 10);
    int only = argc > 3 ? (int)strtol(argv[3], NULL, 10) : 0;
    count by_plan[PLANS] = {{0}}, all = {0};
    printf("Seeds %ld to %ld.\n", first, last);
    heading("voice, family");
    for (int voice = 1; voice <= CHOIR_VOICES; voice++)
        for (int f = 0; f < choir_families(voice) && !choir_still(voice, f); f++) {
            const char *named = choir_name(voice, f);
            count by_family = {0};
            if ((only && only != voice) || (argc > 4 && strcmp(argv[4], named) != 0))
                continue;
            for (long seed = first; seed <= last; seed++)
                one_singer(voice, named, (uint64_t)seed, by_plan, &by_family);
            char *name = xformat("%d, %s", voice, named);
            row(name, &by_family);
            free(name);
            add(&all, &by_family);
        }
    row("all", &all);
    heading("exercise");
    for (int k = 0; k < PLANS; k++)
        row(plans[k].name, &by_plan[k]);
    return 0;
}
