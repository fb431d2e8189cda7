/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From the chain to flips: fewer frames, turns of the chain, their cues and what they are worth.
 * Oracles: made frames whose answer can be told by hand; a test voice, on seeds that nothing was
 * learnt from, that glides, changes vowel or doubles its period and never flips. */
#include "base/array.h"
#include "register/cues.h"
#include "register/decode.h"
#include "register/settle.h"
#include "register/standing.h"
#include "register/thin.h"
#include "register/trust.h"
#include "voice/marks.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "heard_singer.h"

enum { FRAMES = 300 };

/* Voiced frames of one take in two stretches of voice. */
static evidence *made(size_t second)
{
    evidence *ev = evidence_alloc(FRAMES);
    for (size_t i = 0; i < FRAMES; i++) {
        ev->take[i] = 0;
        ev->frame[i] = i;
        ev->gap_s[i] = i == 0 || i == second ? (double)INFINITY : ev->hop_s;
        ev->before[i] = EVIDENCE_NONE;
        ev->edge_s[i] = 1;
        ev->pitch_st[i] = 60;
        ev->hz[i] = 260;
        ev->level_db[i] = ev->dip_db[i] = ev->step_db[i] = 0;
        ev->declared[i] = DECLARED_NONE;
        ev->stated[i] = 0;
        for (int h = 0; h < HARMONICS; h++) {
            ev->y_db[i][h] = (float)-h;
            ev->var[i][h] = 1;
        }
    }
    return ev;
}

static void test_thinned_frames_stand_for_all(void **state)
{
    (void)state;
    evidence *ev = made(130);
    size_t stands_for[FRAMES];
    ev->leap_st[77] = -3;
    ev->leap_st[78] = 2;
    ev->sudden[77] = 0.9;
    ev->kink[77] = 0.7;
    ev->trip[77] = 0.6;
    evidence *few = thin_evidence(ev, 4, stands_for);
    assert_int_equal(few->n, 33 + 43); /* of 130 and 170 */
    assert_true(fabs(few->hop_s - 0.02) < 1e-12);
    for (size_t i = 1; i < FRAMES; i++)
        assert_true(stands_for[i] == stands_for[i - 1] || stands_for[i] == stands_for[i - 1] + 1);
    assert_true(isinf(few->gap_s[0]) && isinf(few->gap_s[stands_for[130]]));
    assert_int_not_equal(stands_for[129], stands_for[130]);
    double sum = 0;
    for (size_t i = 1; i < 30; i++)
        sum += few->gap_s[i];
    assert_true(fabs(sum - 29 * 0.02) < 1e-9);
    assert_true(few->leap_st[stands_for[77]] == -3 && few->sudden[stands_for[77]] == 0.9 &&
                few->kink[stands_for[77]] == 0.7 && few->trip[stands_for[77]] == 0.6);
    assert_int_equal(few->before[10], 5); /* 100 ms */
    assert_true(few->before[2] == EVIDENCE_NONE);
    evidence_free(few);
    evidence_free(ev);
}

static void fill(double *p2, size_t from, size_t to, double value)
{
    for (size_t i = from; i < to; i++)
        p2[i] = value;
}

static void test_short_stays_are_brief_turns(void **state)
{
    (void)state;
    evidence *ev = made(150);
    double p2[FRAMES];
    fill(p2, 0, FRAMES, 0.1);
    fill(p2, 60, 80, 0.9);   /* 100 ms in M2, without a leap */
    fill(p2, 220, 250, 0.9); /* 150 ms, with one */
    ev->leap_st[220] = 3;
    turns t = turns_find(ev, p2);
    assert_int_equal(t.n, 4);
    assert_true(t.items[0].brief && t.items[0].at == 60 && t.items[0].up);
    assert_true(t.items[1].brief && t.items[1].at == 80 && !t.items[1].up);
    assert_true(!t.items[2].brief && t.items[2].at == 220 && t.items[2].first == 150);
    assert_true(!t.items[3].brief && t.items[3].at == 250 && t.items[3].last == FRAMES - 1);
    assert_true(p2[70] < 0.5 && p2[230] > 0.5);
    turns_clear(&t);
    evidence_free(ev);
}

static void test_registers_agree_with_what_is_believed(void **state)
{
    (void)state;
    evidence *ev = made(FRAMES);
    double p2[FRAMES], p[3] = {0.95, 0.1, 0.1};
    fill(p2, 0, FRAMES, 0.1);
    fill(p2, 60, 140, 0.9);
    fill(p2, 200, FRAMES, 0.9);
    turns t = turns_find(ev, p2);
    assert_int_equal(t.n, 3);
    settle_registers(ev, &t, p, 1, p2); /* up at 60, and there it stays */
    assert_true(p2[30] < 0.5 && p2[100] > 0.5 && p2[170] > 0.5 && p2[250] > 0.5);
    fill(p2, 140, 200, 0.1);
    double all[3] = {0.9, 0.9, 0.9}, none[3] = {0.02, 0.02, 0.02};
    settle_registers(ev, &t, all, 1, p2);
    assert_true(p2[30] < 0.5 && p2[100] > 0.5 && p2[170] < 0.5 && p2[250] > 0.5);
    double chain[FRAMES];
    memcpy(chain, p2, sizeof chain);
    settle_registers(ev, &t, none, 1, p2);
    for (size_t i = 1; i < FRAMES; i++)
        assert_true((p2[i] > 0.5) == (p2[0] > 0.5));
    ev->hop_s = 0.1;
    double doubtful[3] = {0.01, 0.01, 0.01};
    memcpy(p2, chain, sizeof chain);
    settle_registers(ev, &t, doubtful, 1, p2);
    assert_true((p2[30] > 0.5) == (p2[100] > 0.5));
    for (size_t i = 0; i < FRAMES; i++) /* 3 s of each stated: the chain knows how they sound */
        ev->declared[i] = i < 30 ? DECLARED_M1 : i >= FRAMES - 30 ? DECLARED_M2 : DECLARED_NONE;
    memcpy(p2, chain, sizeof chain);
    settle_registers(ev, &t, doubtful, 1, p2);
    assert_true(p2[30] < 0.5 && p2[100] > 0.5 && p2[170] < 0.5 && p2[250] > 0.5);
    turns_clear(&t);
    evidence_free(ev);
}

/* A change of the chain that comes some frames late, and its leap. */
static void test_tidied_where_the_leap_is(void **state)
{
    (void)state;
    enum { LEAP = 150 };
    static const size_t late[] = {0, 18, 60}; /* 90 ms; 300: too far off to be the same */
    for (size_t k = 0; k < 3; k++) {
        evidence *ev = made(FRAMES);
        world w = world_new(FRAMES);
        memset(w.m.beta, 0, sizeof w.m.beta);
        memset(w.says, 0, FRAMES * sizeof *w.says);
        memset(w.steps, 0, FRAMES * sizeof *w.steps);
        w.where = (place){.pitch = 0.3, .mid = 62};
        w.gain = 10;
        for (size_t i = 0; i < FRAMES; i++)
            ev->pitch_st[i] = i < LEAP ? 60 : 65;
        ev->leap_st[LEAP] = 5;
        w.steps[LEAP] = (harmonic_step){.cross = 10, .square = 10, .odd = 1};
        fill(w.p2, 0, LEAP + late[k], 0.01);
        fill(w.p2, LEAP + late[k], FRAMES, 0.99);
        standing_tidy(ev, &w);
        bool kept = w.p2[FRAMES - 1] > 0.5 && w.p2[0] < 0.5;
        print_message("a change %zu ms after its leap is %s\n", 5 * late[k],
                      kept ? "kept" : "dropped");
        assert_int_equal(kept, k < 2);
        world_clear(&w);
        evidence_free(ev);
    }
}

/* The cue of one leap where the chain goes up, by hand. */
static double cue_of_leap(double leap_st, double kink, double hop_s)
{
    evidence *ev = made(FRAMES);
    world w = world_new(FRAMES);
    memset(w.m.beta, 0, sizeof w.m.beta);
    memset(w.says, 0, FRAMES * sizeof *w.says);
    memset(w.steps, 0, FRAMES * sizeof *w.steps);
    ev->hop_s = hop_s;
    ev->leap_st[150] = leap_st;
    ev->kink[150] = kink;
    fill(w.p2, 0, 150, 0.01);
    fill(w.p2, 150, FRAMES, 0.99);
    turns t = turns_find(ev, w.p2);
    cues_of of = {ev, &w.m, &w.where, w.says, w.steps, w.p2, w.gain};
    double cues[1][CUES];
    assert_int_equal(t.n, 1);
    cues_measure(&of, &t, cues);
    turns_clear(&t);
    world_clear(&w);
    evidence_free(ev);
    return cues[0][CUE_KINK];
}

static void test_a_kinked_leap_tells_in_little_voice(void **state)
{
    (void)state;
    static const struct {
        double leap_st, kink, hop_s, want;
    } rows[] = {{6, 0.8, 0.005, 0.2 + 0.925 * 0.4}, /* 1.5 s of voice of 20 */
                {6, 0.1, 0.005, 0.2},
                {4, 0.8, 0.005, 0.2 + 0.925 * 0.2}, /* half as plain */
                {2.9, 0.8, 0.005, 0.2},
                {-6, 0.8, 0.005, 0.2},
                {6, (double)NAN, 0.005, 0.2},
                {6, 0.8, 0.07, 0.2}}; /* 21 s */
    for (size_t k = 0; k < sizeof rows / sizeof *rows; k++) {
        double kinked = cue_of_leap(rows[k].leap_st, rows[k].kink, rows[k].hop_s);
        print_message("leap of %g st with a kink of %g: %g\n", rows[k].leap_st, rows[k].kink,
                      kinked);
        assert_true(fabs(kinked - rows[k].want) < 1e-9);
    }
    double cues[CUES] = {0}, nats[TRUST_TERMS];
    double smooth = trust_weigh(cues, nats);
    cues[CUE_KINK] = 0.6;
    assert_true(trust_weigh(cues, nats) >
                smooth + 1); /* a kink is ten times as frequent in flips */
}

static double probability(double nats)
{
    return 1 / (1 + exp(-nats));
}

static void test_what_speaks_for_a_flip_counts_for_it(void **state)
{
    (void)state;
    double cues[CUES] = {0}, nats[TRUST_TERMS], sum = 0;
    double odds = trust_weigh(cues, nats), nothing = probability(odds);
    double none[TRUST_TERMS];
    memcpy(none, nats, sizeof none);
    assert_true(nothing > 0 && nothing < 0.5);
    cues[CUE_LEAP] = 3; /* a sudden leap, a step of the harmonics, where M2 is likely */
    cues[CUE_SPEED] = 3;
    double leap = probability(trust_weigh(cues, nats));
    cues[CUE_STEP] = 10;
    cues[CUE_CHAIN] = 5;
    cues[CUE_PLACE] = 2;
    double more = probability(trust_weigh(cues, nats));
    assert_true(leap > nothing && more > leap);
    odds = trust_weigh(cues, nats);
    for (int k = 0; k < TRUST_TERMS; k++)
        sum += nats[k] - none[k];
    cues[CUE_LEAP] = cues[CUE_SPEED] = cues[CUE_STEP] = 0;
    cues[CUE_CHAIN] = cues[CUE_PLACE] = 0;
    assert_true(fabs(odds - sum - trust_weigh(cues, none)) < 1e-9);
    for (int c = 0; c < CUES; c++)
        assert_true(cue_name((cue)c) && *cue_name((cue)c));
}

static void test_the_company_of_others_counts(void **state)
{
    (void)state;
    double good[3][CUES], bad[3][CUES], p[3], q[3], nats[3] = {9, -1, 2};
    for (int k = 0; k < 3; k++) { /* the first of three is the same, the others leap and step */
        memset(good[k], 0, sizeof good[k]);
        good[k][CUE_SOURCE] = 1;
        good[k][CUE_GAIN] = 8;
        good[k][CUE_VOICED] = 4;
        memcpy(bad[k], good[k], sizeof bad[k]);
        good[k][CUE_LEAP] = good[k][CUE_SPEED] = k ? 3 : 0;
        good[k][CUE_STEP] = k ? 10 : 0;
    }
    trust_all(3, good, p);
    trust_all(3, bad, q);
    print_message("%.4f in good company, %.4f in none\n", p[0], q[0]);
    assert_true(p[0] > 1.2 * q[0] && good[0][CUE_COMPANY] > bad[0][CUE_COMPANY]);
    trust_company(3, nats, good); /* 9 counts as 4 */
    assert_true(fabs(good[0][CUE_COMPANY] - (-1. + 2) / 6) < 1e-12);
    assert_true(fabs(good[1][CUE_COMPANY] - (4. + 2) / 6) < 1e-12);
    trust_company(1, nats, good);
    assert_true(fabs(good[0][CUE_COMPANY]) < 1e-12); /* nobody else */
}

static const char takes[] = "build/test_trust-takes";

/* Asserted flips in a singer's takes, and minutes of voice. */
static size_t asserted(int voice, const char *family_name, uint64_t seed, double *minutes)
{
    heard_singer s = hear_singer(voice, family_name, seed, takes);
    register_settings settings = register_defaults();
    register_summary summary;
    size_t n = 0;
    register_decode(s.tracks, s.t.n, &settings, s.found, &summary);
    *minutes += summary.voiced_s / 60;
    for (size_t k = 0; k < s.t.n; k++)
        for (size_t j = 0; j < s.found[k].n; j++)
            n += s.found[k].items[j].confidence >= FLIP_ASSERTED;
    heard_singer_clear(&s);
    return n;
}

/* Of each take by itself the voice within so long of its first flip, or of its middle if it has
 * none: flips in it, those that are asserted, and what is asserted beside. */
typedef struct counts {
    size_t flips, found, beside;
    double minutes; /* of voice */
} counts;

static void hear_clips(const char *family_name, uint64_t seed, double within_s, counts *sum)
{
    heard_singer s = hear_singer(1, family_name, seed, takes);
    register_settings settings = register_defaults();
    for (size_t k = 0; k < s.t.n; k++) {
        truth_take *t = &s.t.takes[k];
        track *clip = s.tracks[k];
        double middle = t->n_flips ? t->flips[0].time_s : clip->time_s[clip->n / 2];
        register_summary summary;
        for (size_t f = 0; f < clip->n; f++)
            if (fabs(clip->time_s[f] - middle) > within_s)
                clip->pitch_st[f] = (double)NAN;
        register_decode(&clip, 1, &settings, &s.found[k], &summary);
        size_t told = 0, right = 0;
        long *match = xmalloc(t->n_flips, sizeof *match);
        marks_match(t, &s.found[k], FLIP_ASSERTED, match);
        for (size_t j = 0; j < s.found[k].n; j++)
            told += s.found[k].items[j].confidence >= FLIP_ASSERTED;
        for (size_t i = 0; i < t->n_flips; i++)
            right += match[i] >= 0;
        free(match);
        sum->minutes += summary.voiced_s / 60;
        sum->found += right;
        sum->beside += told - right;
        for (size_t i = 0; i < t->n_flips; i++)
            sum->flips += fabs(t->flips[i].time_s - middle) < within_s - 0.15;
        if (summary.voiced_s < settings.least_voice_s)
            assert_int_equal(summary.answer, told ? REGISTER_BOTH : REGISTER_TOO_LITTLE);
    }
    heard_singer_clear(&s);
}

/* A second or two of voice may hold a flip that is plain, but never says that there is one
 * register. */
static void test_clips(void **state)
{
    (void)state;
    counts with = {0}, without = {0};
    hear_clips("clear", 41, 0.8, &with);
    hear_clips("yodel", 42, 0.8, &with);
    hear_clips("one-register", 43, 0.8, &without);
    hear_clips("vowel-change", 44, 0.8, &without);
    print_message("clips: %zu of %zu flips found, %zu beside; %zu where there is none\n",
                  with.found, with.flips, with.beside, without.beside);
    assert_true(with.flips >= 10 && 2 * with.found >= with.flips);
    assert_true(with.beside <= 1 && without.beside <= 1);
}

/* A yodel on one note has two pitches, one in each register: neither the tract nor a source that
 * follows the pitch takes the register's place. Where no world begins with a stiff tract 86 are
 * found. */
static void test_single_yodels(void **state)
{
    (void)state;
    counts c = {0};
    for (size_t k = 0; k < 3; k++)
        hear_clips("yodel", (const uint64_t[]){13, 15, 18}[k], (double)INFINITY, &c);
    print_message("single yodels: %zu of %zu flips found, %zu beside\n", c.found, c.flips,
                  c.beside);
    assert_true(c.flips >= 100 && 4 * c.found >= 3 * c.flips && c.beside <= 1);
}

/* Of one take the tract is known at few pitches. docs/limits.md says how many flips such takes may
 * be given; where registers drift no further for that, they are given
 * four a minute. */
static void test_single_takes_without_a_flip(void **state)
{
    (void)state;
    counts c = {0};
    for (uint64_t seed = 13; seed <= 18; seed++)
        hear_clips("portamento", seed, (double)INFINITY, &c);
    for (uint64_t seed = 13; seed <= 16; seed++)
        hear_clips("tune", seed, (double)INFINITY, &c);
    print_message("single takes without a flip: %zu asserted in %.1f minutes\n", c.beside,
                  c.minutes);
    assert_true(c.flips == 0 && (double)c.beside <= 2 * c.minutes);
}

/* Tunes in one register, whose consonants dip and whose steps leap, and fast notes: where dips and
 * the singer's other leaps are not weighed, the tunes are given 29 flips, the fast notes 9. */
static void test_tunes_have_no_flip(void **state)
{
    (void)state;
    double minutes = 0;
    size_t n = asserted(2, "tune", 7, &minutes) + asserted(2, "tune", 1, &minutes) +
               asserted(1, "ornaments", 14, &minutes) + asserted(1, "ornaments", 18, &minutes);
    print_message("tunes: %zu flips asserted in %.1f minutes without any\n", n, minutes);
    assert_true((double)n <= 0.5 * minutes);
}

/* A flip may come within a consonant: a deep dip speaks against one, less where the pitch leaps. */
static void test_a_dip_without_a_leap_is_a_consonant(void **state)
{
    (void)state;
    double cues[CUES] = {0}, nats[TRUST_TERMS], odds[2][2];
    for (int leaps = 0; leaps < 2; leaps++)
        for (int deep = 0; deep < 2; deep++) {
            cues[CUE_SPEED] = 3 * leaps;
            cues[CUE_DIP] = deep ? 9 : 3;
            odds[leaps][deep] = trust_weigh(cues, nats);
        }
    double at_rest = odds[0][0] - odds[0][1], in_a_leap = odds[1][0] - odds[1][1];
    print_message("a deep dip: -%.1f nats, -%.1f in a leap\n", at_rest, in_a_leap);
    assert_true(in_a_leap > 0 && at_rest > 1.3 * in_a_leap);
}

static void test_no_flip_is_invented(void **state)
{
    (void)state;
    static const char *const still[] = {"portamento", "vowel-change", "doubling", "one-register"};
    double minutes = 0;
    size_t n = 0;
    for (size_t k = 0; k < sizeof still / sizeof *still; k++)
        n += asserted(1, still[k], 41 + k, &minutes);
    n += asserted(2, "portamento", 14, &minutes); /* each of whose glides leaps by as much */
    print_message("%zu flips asserted in %.1f minutes without any\n", n, minutes);
    assert_true((double)n <= 2 * minutes); /* each leap and vowel taken for one: 50 */
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_thinned_frames_stand_for_all),
        cmocka_unit_test(test_short_stays_are_brief_turns),
        cmocka_unit_test(test_registers_agree_with_what_is_believed),
        cmocka_unit_test(test_tidied_where_the_leap_is),
        cmocka_unit_test(test_a_kinked_leap_tells_in_little_voice),
        cmocka_unit_test(test_what_speaks_for_a_flip_counts_for_it),
        cmocka_unit_test(test_the_company_of_others_counts),
        cmocka_unit_test(test_no_flip_is_invented),
        cmocka_unit_test(test_tunes_have_no_flip),
        cmocka_unit_test(test_a_dip_without_a_leap_is_a_consonant),
        cmocka_unit_test(test_clips),
        cmocka_unit_test(test_single_yodels),
        cmocka_unit_test(test_single_takes_without_a_flip),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
