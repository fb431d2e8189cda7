/* SPDX-License-Identifier: GPL-3.0-or-later */
/* How right held is on voices of known truth: prints the tables of docs/held.md.
 *
 * Each singer sings the exercises below, heard together as one singer's takes and judged without a
 * word of what was meant; and then trills and hums beside takes with flips. Truth: of pitch, what
 * was planned; of the register, whether flips were sung; of the level, whether it was planned to
 * move or ranged over 6 dB at the microphone, but for what the register's own step does. Truth of
 * steadiness and leak: the contours that were sung, with the levels that reached the microphone,
 * without noise, jitter and a listener; dB per octave also with those that left the lips, which a
 * room changes on the way, and beside it what that alone does.
 *
 * Usage: held FIRST-SEED LAST-SEED [VOICE [FAMILY]] */
#include "base/array.h"
#include "lesson/held.h"
#include "register/decode.h"
#include "voice2/choir.h"
#include "voice2/solo.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { P = LESSON_PITCH, L = LESSON_LEVEL, R = LESSON_REGISTER, PLANS = 11, MOST = 13 };

/* Pitch re the boundary at the middle level, level re the middle. */
typedef struct plan {
    const char *name;
    solo_kind kind;
    int reg; /* 0: flips may come */
    double from_st, to_st, from_db, to_db;
    double cents_per_10_db; /* planted in the pitch */
    int moves;              /* register apart */
    mouth by;               /* trilled, hummed */
} plan;

static const plan open_plans[PLANS] = {
    {"hold in M1", SOLO_HOLD, 1, -7, -7, 0, 0, 0, 0, MOUTH_OPEN},
    {"hold in M2", SOLO_HOLD, 2, 4, 4, 0, 0, 0, 0, MOUTH_OPEN},
    {"slide in M1", SOLO_SLIDE, 1, -15, -3, 0, 0, 0, P, MOUTH_OPEN},
    {"slide in M2", SOLO_SLIDE, 2, -2, 9, 0, 0, 0, P, MOUTH_OPEN},
    {"slide in M1, 4 dB louder", SOLO_SLIDE, 1, -15, -3, -2, 2, 0, P, MOUTH_OPEN},
    {"swell in M1, 30 cents/10 dB", SOLO_SWELL, 1, -9, -9, -8, 8, 30, L, MOUTH_OPEN},
    {"swell in M2, -20 cents/10 dB", SOLO_SWELL, 2, 3, 3, -8, 8, -20, L, MOUTH_OPEN},
    {"slide through the flip", SOLO_SLIDE, 0, -9, 8, 0, 0, 0, P, MOUTH_OPEN},
    {"swell through the flip", SOLO_SWELL, 0, 0, 0, -8, 8, 0, L, MOUTH_OPEN},
    {"register alone", SOLO_ATWILL, 0, -1, -1, 0, 0, 0, 0, MOUTH_OPEN},
    {"slide in M1, 14 dB louder", SOLO_SLIDE, 1, -15, -3, -7, 7, 0, P | L, MOUTH_OPEN},
};

/* Trills and humming beside takes with flips, which alone are judged. */
enum { BESIDE = 4 };
static const plan mouth_plans[MOST] = {
    {"slide", SOLO_SLIDE, 0, -9, 8, 0, 0, 0, P, MOUTH_OPEN},
    {"swell", SOLO_SWELL, 0, 0, 0, -8, 8, 0, L, MOUTH_OPEN},
    {"slide in M1", SOLO_SLIDE, 1, -15, -3, 0, 0, 0, P, MOUTH_OPEN},
    {"hold in M2", SOLO_HOLD, 2, 4, 4, 0, 0, 0, 0, MOUTH_OPEN},
    {"lip trill, slide in M1", SOLO_SLIDE, 1, -15, -3, 0, 0, 0, P, MOUTH_LIPS},
    {"lip trill, slide in M2", SOLO_SLIDE, 2, -2, 9, 0, 0, 0, P, MOUTH_LIPS},
    {"lip trill, swell in M1", SOLO_SWELL, 1, -9, -9, -8, 8, 0, L, MOUTH_LIPS},
    {"tongue trill, slide in M1", SOLO_SLIDE, 1, -15, -3, 0, 0, 0, P, MOUTH_TONGUE},
    {"tongue trill, slide in M2", SOLO_SLIDE, 2, -2, 9, 0, 0, 0, P, MOUTH_TONGUE},
    {"tongue trill, swell in M1", SOLO_SWELL, 1, -9, -9, -8, 8, 0, L, MOUTH_TONGUE},
    {"humming, slide in M1", SOLO_SLIDE, 1, -15, -3, 0, 0, 0, P, MOUTH_HUM},
    {"humming, slide in M2", SOLO_SLIDE, 2, -2, 9, 0, 0, 0, P, MOUTH_HUM},
    {"humming, swell in M1", SOLO_SWELL, 1, -9, -9, -8, 8, 0, L, MOUTH_HUM},
};

/* A take as it was sung and heard. */
typedef struct take {
    solo sung;
    track *heard;
    flips found;
    int moves;
} take;

static void die(const char *why)
{
    fprintf(stderr, "held: %s\n", why);
    exit(1);
}

static take take_of(const soloist *who, const plan *p, int number)
{
    solo_plan asked = {.kind = p->kind,
                       .held = p->reg,
                       .from_st = who->edge_st + p->from_st,
                       .to_st = who->edge_st + p->to_st,
                       .from_db = who->middle_db + p->from_db,
                       .to_db = who->middle_db + p->to_db,
                       .cents_per_10_db = p->cents_per_10_db,
                       .by = p->by,
                       .seconds = 6};
    err e = {""};
    take t = {.sung = solo_sing(who, &asked, number)};
    t.heard = solo_hear(&t.sung.x, &e);
    if (!t.heard)
        die(e.text);
    t.moves = p->moves | (t.sung.sung.n ? R : 0);
    return t;
}

static void take_clear(take *t)
{
    solo_clear(&t->sung);
    track_free(t->heard);
    flips_clear(&t->found);
}

/* What a row of a table counts. */
enum { CENTS, DB, DB_PER_OCTAVE, CENTS_PER_10_DB, DB_PER_OCTAVE_SUNG, DB_PER_OCTAVE_ROOM, FIGURES };
typedef struct count {
    size_t takes, moved, by[3]; /* all three right; pitch, level, register right */
    size_t known;               /* all three right when the registers are given as sung */
    size_t untold;              /* the register cannot be told */
    size_t figures[FIGURES], within[FIGURES];
    double worst[FIGURES];
} count;
static const double tolerance[FIGURES] = {5, 0.5, 0.3, 3, 0.3, 0.3};
static const double relative[FIGURES] = {0, 0, 0.1, 0.1, 0.1, 0.1};

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
    held_score ref = held_judge(t->sung.arrived, &none, hold, p->moves, &s);
    held_score got = held_judge(t->heard, &t->found, hold, p->moves, &s);
    compare(c, CENTS, ref.pitch_steady_cents, got.pitch_steady_cents);
    compare(c, DB, ref.level_steady_db, got.level_steady_db);
    if (p->moves == L)
        compare(c, CENTS_PER_10_DB, ref.cents_per_10_db, got.cents_per_10_db);
    if (p->moves != P)
        return;
    compare(c, DB_PER_OCTAVE, ref.db_per_octave, got.db_per_octave);
    if (p->by == MOUTH_OPEN) {
        held_score lips = held_judge(t->sung.meant, &none, hold, p->moves, &s);
        compare(c, DB_PER_OCTAVE_SUNG, lips.db_per_octave, got.db_per_octave);
        compare(c, DB_PER_OCTAVE_ROOM, lips.db_per_octave, ref.db_per_octave);
    }
}

/* The level moves unmeant as well, with the resonances of mouth and room. */
static int moves_of(const take *t)
{
    const held_settings s = held_defaults();
    return t->moves | (held_judge(t->sung.arrived, &t->sung.sung, -1, -1, &s).moved & L);
}

/* What is told to move when every register and flip is as sung. */
static held_score judge_known(const take *t)
{
    const held_settings s = held_defaults();
    track *k = track_part(t->heard, 0, t->heard->n);
    for (size_t i = 0; i < k->n; i++)
        k->reg[i] = isnan(k->pitch_st[i]) || i >= t->sung.meant->n ? 0 : t->sung.meant->reg[i];
    held_score h = held_judge(k, &t->sung.sung, -1, -1, &s);
    track_free(k);
    return h;
}

static count judge(const plan *p, const take *t, const char *who)
{
    const held_settings s = held_defaults();
    held_score h = held_judge(t->heard, &t->found, -1, -1, &s), known = judge_known(t);
    int moves = moves_of(t);
    count c = {.takes = 1,
               .moved = h.moved == moves && (p->by != MOUTH_OPEN || !h.untold),
               .known = known.moved == moves,
               .untold = (h.untold & R) != 0};
    for (int k = 0; k < 3; k++)
        c.by[k] =
            (h.moved >> k & 1) == (moves >> k & 1) && (p->by != MOUTH_OPEN || !(h.untold >> k & 1));
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
    soloist sung_by = soloist_draw(voice, named, seed);
    for (int k = 0; k < n; k++) {
        takes[k] = take_of(&sung_by, &plans[k], k);
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
        take_clear(&takes[k]);
    }
}

static void heading(const char *first, const char *third)
{
    printf("\n| %s | takes | all three right | %s | pitch | level | register | cents | dB | "
           "dB/octave | cents/10 dB | dB/octave at the lips | and what of it came to the "
           "microphone |\n"
           "|---|---|---|---|---|---|---|---|---|---|---|---|---|\n",
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
    for (int voice = 1; voice <= 2; voice++) /* the third sings no exercises */
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
