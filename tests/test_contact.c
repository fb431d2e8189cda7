/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The register by the folds' contact. Oracles: contact laid down by hand, whose changes are known;
 * test voices with an EGG whose registers and flips are known; invariance: an EGG that cannot be
 * used changes nothing, and the microphone's channel is that of the same take without one. */
#include "base/array.h"
#include "register/contact.h"
#include "register/contact_level.h"
#include "register/decode.h"
#include "voice/egg.h"
#include "voice/listen.h"
#include "voice/studio.h"
#include "voice/truth.h"
#include "voice2/album.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

static const egg_frame in_m1 = {0.52F, 0.5F, 11, 5, -20, 0.99F};
static const egg_frame in_m2 = {0.30F, 0.3F, 5.5F, 4.8F, -26, 0.99F};

/* n voiced frames; share[i] of the way from M1 to M2, NaN without contact. */
static track *lay(size_t n, const double *share)
{
    track *t = track_new("made", n, 0.005, 0);
    t->egg = xmalloc(n, sizeof *t->egg);
    for (size_t i = 0; i < n; i++) {
        float w = (float)share[i];
        t->pitch_st[i] = 60;
        t->level_db[i] = -30;
        t->egg[i] = in_m1;
        t->egg[i].quotient += w * (in_m2.quotient - in_m1.quotient);
        t->egg[i].closing *= powf(in_m2.closing / in_m1.closing, w);
        t->egg[i].opening *= powf(in_m2.opening / in_m1.opening, w);
        t->egg[i].clarity = isnan(share[i]) ? 0.2F : in_m1.clarity;
    }
    return t;
}

/* M1 up to `up`, M2 up to `down`, then M1; ramps of `frames` about the changes. */
static void shares(double *share, size_t n, size_t up, size_t down, size_t frames)
{
    for (size_t i = 0; i < n; i++) {
        double half = (double)frames / 2, at = (double)i;
        double rise = (at - (double)up + half) / (double)frames;
        double fall = (at - (double)down + half) / (double)frames;
        share[i] = fmin(fmax(rise, 0), 1) - fmin(fmax(fall, 0), 1);
    }
}

static double *times(const evidence *ev, const track *t)
{
    double *s = xmalloc(ev->n, sizeof *s);
    for (size_t i = 0; i < ev->n; i++)
        s[i] = t->time_s[ev->frame[i]];
    return s;
}

static size_t change_near(const contact *c, size_t at)
{
    for (size_t k = at - 30; k < at + 30; k++)
        if ((c->p2[k] > 0.5) != (c->p2[k - 1] > 0.5))
            return k;
    fail_msg("no change of register about frame %zu", at);
    return 0;
}

/* Place and width of changes that are ramps: half-way, and 0.8 of the ramp from 10 to 90 %. */
static void test_ramps(void **state)
{
    (void)state;
    enum { N = 900, UP = 300, DOWN = 600 };
    static const size_t widths[] = {2, 8, 20, 40};
    double share[N];
    for (size_t k = 0; k < sizeof widths / sizeof *widths; k++) {
        shares(share, N, UP, DOWN, widths[k]);
        track *t = lay(N, share);
        evidence *ev = evidence_new(&t, 1);
        contact *c = contact_new(ev, &t);
        double *time_s = times(ev, t), want_ms = 0.8 * 5 * (double)widths[k];
        assert_true(c && contact_both(c));
        for (int down = 0; down < 2; down++) {
            refined r;
            size_t at = change_near(c, down ? DOWN : UP);
            assert_true(contact_tells_flip(c, ev, at, !down) > 0.9);
            assert_true(contact_place(c, time_s, down ? UP : 0, down ? N - 1 : DOWN - 1, at, &r));
            double off_ms = 1000 * r.time_s - 5 * (down ? DOWN : UP);
            print_message("ramp of %zu frames %s: %.1f ms off, 10-90 %% in %.1f ms for %.1f\n",
                          widths[k], down ? "down" : "up", off_ms, r.span_ms, want_ms);
            /* Three frames are averaged: 10 ms; the registers' own levels are 125 ms away. */
            assert_true(fabs(off_ms) < 3);
            assert_true(r.span_ms > want_ms - 3 && r.span_ms < hypot(want_ms, 14));
        }
        free(time_s);
        contact_free(c);
        evidence_free(ev);
        track_free(t);
    }
}

/* Frames told, holes filled, ends left. */
static void test_told(void **state)
{
    (void)state;
    enum { N = 600 };
    double share[N];
    for (size_t i = 0; i < N; i++)
        share[i] = i >= 200 && i < 400;
    for (size_t i = 100; i < 103; i++)
        share[i] = (double)NAN; /* a hole of 15 ms */
    for (size_t i = 300; i < 340; i++)
        share[i] = (double)NAN; /* of 200 ms */
    for (size_t i = 580; i < N; i++)
        share[i] = 1; /* the folds part at the end */
    track *t = lay(N, share);
    evidence *ev = evidence_new(&t, 1);
    contact *c = contact_new(ev, &t);
    assert_non_null(c);
    assert_int_equal(c->usable, N - 43);
    for (size_t i = 20; i < 190; i++)
        assert_true(c->told[i] && c->p2[i] < 0.1);
    for (size_t i = 210; i < 390; i++)
        assert_true(c->p2[i] > 0.9 && c->told[i] == (i < 300 || i >= 340));
    for (size_t i = 585; i < N; i++)
        assert_true(!c->told[i]);
    contact_pin(c, ev);
    assert_int_equal(ev->declared[150], DECLARED_M1);
    assert_int_equal(ev->declared[250], DECLARED_M2);
    assert_int_equal(ev->declared[320], DECLARED_NONE);
    assert_int_equal(ev->declared[0], DECLARED_NONE); /* no flip can be told there */
    contact_free(c);
    evidence_free(ev);
    track_free(t);
}

/* M1, then M2 after a pause of the voice, then M1 without one. */
static void test_rest_is_no_flip(void **state)
{
    (void)state;
    enum { N = 900, UP = 300, ON = 323, DOWN = 600 };
    double share[N];
    shares(share, N, UP, DOWN, 2);
    track *t = lay(N, share);
    for (size_t i = UP; i < ON; i++)
        t->pitch_st[i] = (double)NAN;
    flips found = {.n = 0};
    register_settings settings = register_defaults();
    register_summary sum;
    register_decode(&t, 1, &settings, &found, &sum);
    assert_int_equal(sum.answer, REGISTER_BOTH);
    assert_int_equal(t->reg[UP - 10], 1);
    assert_int_equal(t->reg[ON + 10], 2);
    assert_int_equal(t->reg[DOWN + 10], 1);
    assert_int_equal(found.n, 2);
    assert_int_equal(found.items[0].kind, FLIP_CONSONANT);
    assert_true(found.items[0].confidence < FLIP_ASSERTED);
    assert_int_equal(found.items[1].kind, FLIP_PROPER);
    assert_true(found.items[1].confidence > 0.9);
    flips_clear(&found);
    track_free(t);
}

/* A register's own drift is no flip: the quotient falls by a quarter of the step over a second. */
static void test_drift_is_no_flip(void **state)
{
    (void)state;
    enum { N = 800 };
    double share[N];
    for (int m2 = 0; m2 < 2; m2++) {
        for (size_t i = 0; i < N; i++)
            share[i] = m2 + 0.15 * sin(2 * M_PI * (double)i / 400);
        track *t = lay(N, share);
        flips found = {0};
        register_settings s = register_defaults();
        register_summary sum;
        register_decode(&t, 1, &s, &found, &sum);
        assert_int_equal(sum.answer, REGISTER_ONE);
        assert_int_equal(found.n, 0);
        for (size_t i = 0; i < N; i++)
            assert_int_equal(t->reg[i], m2 ? 2 : 1);
        flips_clear(&found);
        track_free(t);
    }
}

/* Contact that steps by half of the usual within a fifth of a second, and strays by a tenth of its
 * step besides: the singer's own step, not the usual one, says how much may be drift. */
static void test_short_steps_are_no_drift(void **state)
{
    (void)state;
    enum { N = 2000, STAY = 400, RAMP = 40 };
    double share[N];
    for (size_t i = 0; i < N; i++) {
        double to = 0;
        for (size_t k = 1; k * STAY < N; k++) {
            double x = ((double)i - (double)(k * STAY)) / RAMP + 0.5;
            to += (k % 2 ? 1 : -1) * fmin(fmax(x, 0), 1);
        }
        share[i] = 0.4 + 0.5 * to + 0.05 * sin(2 * M_PI * (double)i / 170);
    }
    track *t = lay(N, share);
    evidence *ev = evidence_new(&t, 1);
    contact *c = contact_new(ev, &t);
    size_t changes = 0;
    for (size_t i = 1; i < N; i++)
        changes += (c->p2[i] > 0.5) != (c->p2[i - 1] > 0.5);
    assert_int_equal(changes, (N - 1) / STAY);
    for (size_t k = 1; k * STAY < N; k++)
        assert_true(contact_tells_flip(c, ev, change_near(c, k * STAY), k % 2) > 0);
    contact_free(c);
    evidence_free(ev);
    track_free(t);
}

/* Amplitude that falls by 15 dB from M1 to M2 is fitted, to a tenth, about the take's own middle;
 * where it stays there is no step; and 40 dB below, where contact is lost, it says nothing. */
static void test_amplitude_falls(void **state)
{
    (void)state;
    enum { N = 900, UP = 300, DOWN = 600 };
    for (int falls = 0; falls < 2; falls++) {
        double share[N], p2[N], weights[N], off, var;
        bool usable[N];
        for (size_t i = 0; i < N; i++) {
            share[i] = p2[i] = i >= UP && i < DOWN;
            weights[i] = usable[i] = true;
        }
        track *t = lay(N, share);
        for (size_t i = UP; falls && i < DOWN; i++)
            t->egg[i].level_db -= 15;
        t->egg[10].level_db = -65;
        evidence *ev = evidence_new(&t, 1);
        contact_levels l = contact_levels_new(ev, &t, 1, usable);
        contact_fall f = contact_fall_new(&l);
        assert_false(contact_fall_says(&f, &l, ev, 100, &off, &var));
        contact_fall_fit(&f, &l, ev, p2, weights, 0);
        assert_true(fabs(f.step_db - (falls ? -15 : 0)) < 0.1);
        assert_true(fabs(f.mid_db[0] - (falls ? -27.5 : -20)) < 0.1);
        if (falls)
            assert_true(contact_fall_says(&f, &l, ev, 100, &off, &var) && fabs(off - 7.5) < 0.1);
        assert_false(contact_fall_says(&f, &l, ev, 10, &off, &var));
        contact_fall_clear(&f);
        contact_levels_clear(&l);
        evidence_free(ev);
        track_free(t);
    }
}

/* A fall of 15 dB in 10 ms and its rise raise the odds of a flip by e^6, up and down, where they
 * are and nowhere else; the same over a second raises none. */
static void test_sudden_falls(void **state)
{
    (void)state;
    enum { N = 1200, UP = 300, DOWN = 800 };
    for (int sudden = 0; sudden < 2; sudden++) {
        double share[N] = {0}, fall[N], up[N], down[N], usual = 0.3 * 0.005;
        double most = usual / (1 - usual) * exp(6);
        bool usable[N];
        track *t = lay(N, share);
        shares(fall, N, UP, DOWN, sudden ? 2 : 200);
        for (size_t i = 0; i < N; i++) {
            usable[i] = true;
            t->egg[i].level_db -= (float)(15 * fall[i]);
        }
        evidence *ev = evidence_new(&t, 1);
        contact_levels l = contact_levels_new(ev, &t, 1, usable);
        contact_levels_hazard(&l, ev, up, down);
        for (size_t i = 1; i < N; i++) {
            if (!sudden || labs((long)i - UP) > 10)
                assert_true(fabs(up[i] - usual) < 1e-12);
            if (!sudden || labs((long)i - DOWN) > 10)
                assert_true(fabs(down[i] - usual) < 1e-12);
        }
        double u = 0, d = 0;
        for (size_t i = 0; i < 20; i++) {
            u = fmax(u, up[UP - 10 + i]);
            d = fmax(d, down[DOWN - 10 + i]);
        }
        assert_true(!sudden || fabs(u / (1 - u) - most) < 1e-9);
        assert_true(!sudden || fabs(d / (1 - d) - most) < 1e-9);
        contact_levels_clear(&l);
        evidence_free(ev);
        track_free(t);
    }
}

/* Where the microphone's pitch is that of a harmonic the EGG has next to no period of that length:
 * its amplitude is lost there, and neither its figures nor the pitch tell M2. */
static void test_lost_contact_tells_nothing(void **state)
{
    (void)state;
    enum { N = 900, FROM = 400, TO = 450 };
    double share[N] = {0};
    track *t = lay(N, share);
    for (size_t i = FROM; i < TO; i++) {
        t->pitch_st[i] = 88;
        t->egg[i] = in_m2;
        t->egg[i].closing = 2.5F;
        t->egg[i].opening = 2.5F;
        t->egg[i].level_db = in_m1.level_db - 33;
        t->egg[i].clarity = 0.75F;
    }
    evidence *ev = evidence_new(&t, 1);
    contact *c = contact_new(ev, &t);
    for (size_t i = 0; i < ev->n; i++)
        assert_true(c->p2[i] < 0.5);
    assert_int_equal(c->usable, N - (TO - FROM));
    contact_free(c);
    evidence_free(ev);
    track_free(t);
}

/* Contact is often too weak to be seen in M2. It is M2 where the voice leaps up as contact goes and
 * down as it comes back, or breaks off there; else the electrodes may have lost the skin. */
static void test_contact_goes_as_the_voice_leaps(void **state)
{
    (void)state;
    enum { N = 900, FROM = 300, AGAIN = 300 };
    static const struct {
        double leap_st;
        size_t frames, strays; /* strays: of these have contact that looks like M1's */
        bool to_end, m2;
    } cases[] = {{10, 80, 0, false, true},   {10, 80, 4, false, true},  {2.5, 80, 0, false, true},
                 {1.5, 80, 0, false, false}, {0, 80, 0, false, false},  {-8, 80, 0, false, false},
                 {25, 80, 0, false, false},  {10, 15, 0, false, false}, {4, 300, 0, true, true},
                 {2.5, 300, 0, true, false}, {10, 80, 30, false, false}};
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        bool lost[N] = {false};
        double share[N] = {0};
        size_t n_lost = 0;
        for (size_t from = cases[k].to_end ? N - cases[k].frames : FROM; from < N; from += AGAIN)
            for (size_t j = 0; j < cases[k].frames && from + AGAIN <= N; j++) {
                size_t apart = cases[k].strays > 4 ? 1 : 15, stray = j / apart;
                lost[from + j] = true;
                share[from + j] =
                    j % apart != apart / 2 || stray >= cases[k].strays ? (double)NAN : 0;
            }
        track *t = lay(N, share);
        for (size_t i = 0; i < N; i++) { /* slowly upwards: a leap has one place */
            t->pitch_st[i] += 1e-4 * (double)i + (lost[i] ? cases[k].leap_st : 0);
            n_lost += lost[i];
        }
        evidence *ev = evidence_new(&t, 1);
        contact *c = contact_new(ev, &t);
        for (size_t i = 0; i < N; i++) {
            assert_int_equal(c->told[i] && c->p2[i] > 0.5, lost[i] && cases[k].m2);
            assert_true(lost[i] || c->told[i]);
        }
        assert_int_equal(c->m2_frames, cases[k].m2 ? n_lost : 0);
        contact_free(c);
        evidence_free(ev);
        track_free(t);
    }
}

/* The gain is each take's own: M2 that is 20 dB stronger than another take's M1 stays M2. */
static void test_gain_is_no_register(void **state)
{
    (void)state;
    enum { N = 400 };
    double shares_of[2][N];
    track *t[2];
    for (int k = 0; k < 2; k++) {
        for (size_t i = 0; i < N; i++)
            shares_of[k][i] = k;
        t[k] = lay(N, shares_of[k]);
        for (size_t i = 0; i < N; i++)
            t[k]->egg[i].level_db = k ? -10 : -30;
    }
    evidence *ev = evidence_new(t, 2);
    contact *c = contact_new(ev, t);
    for (size_t i = 0; i < ev->n; i++)
        assert_true((c->p2[i] > 0.5) == (ev->take[i] == 1));
    contact_free(c);
    evidence_free(ev);
    track_free(t[0]);
    track_free(t[1]);
}

/* Contact half-way between what is usual in M1 and in M2 is M1 at 98 Hz, where nobody sings M2. */
static void test_low_is_m1(void **state)
{
    (void)state;
    enum { N = 600 };
    double share[N];
    bool m2[2];
    for (int low = 0; low < 2; low++) {
        for (size_t i = 0; i < N; i++)
            share[i] = 0.7;
        track *t = lay(N, share);
        for (size_t i = 0; i < N; i++)
            t->pitch_st[i] = low ? 43 : 60;
        evidence *ev = evidence_new(&t, 1);
        contact *c = contact_new(ev, &t);
        m2[low] = c->p2[N / 2] > 0.5;
        contact_free(c);
        evidence_free(ev);
        track_free(t);
    }
    assert_true(m2[0] && !m2[1]);
}

static void test_nothing_to_use(void **state)
{
    (void)state;
    enum { N = 400 };
    double share[N];
    for (size_t i = 0; i < N; i++)
        share[i] = i < 90 ? 0 : (double)NAN; /* 0.45 s */
    track *t = lay(N, share);
    evidence *ev = evidence_new(&t, 1);
    assert_null(contact_new(ev, &t));
    evidence_free(ev);
    free(t->egg);
    t->egg = NULL;
    ev = evidence_new(&t, 1);
    assert_null(contact_new(ev, &t));
    evidence_free(ev);
    contact_free(NULL);
    track_free(t);
}

/* By hand: 200 frames of M1, then M2; the microphone has the flip 40 ms late, and one too many. */
static void test_agreement(void **state)
{
    (void)state;
    enum { N = 400 };
    double share[N];
    for (size_t i = 0; i < N; i++)
        share[i] = i >= 200;
    track *t = lay(N, share);
    evidence *ev = evidence_new(&t, 1);
    contact *c = contact_new(ev, &t);
    flips heard = {0};
    for (size_t i = 0; i < N; i++)
        t->reg[i] = i < 208 ? 1 : 2;
    flips_append(&heard, (flip){.time_s = 1.04, .direction = FLIP_UP, .confidence = 0.9});
    flips_append(&heard, (flip){.time_s = 1.5, .direction = FLIP_DOWN, .confidence = 0.6});
    flips_append(&heard, (flip){.time_s = 1.6, .direction = FLIP_UP, .confidence = 0.4});
    agreement a = agree_count(c, ev, &t, 1, &heard);
    assert_int_equal(a.egg_flips, 1);
    assert_int_equal(a.mic_flips, 2);
    assert_int_equal(a.matched, 1);
    assert_true(a.frames <= N && a.frames > N - 12 && a.frames - a.same >= 4 &&
                a.frames - a.same <= 8);
    heard.items[0].time_s = 1.07;
    a = agree_count(c, ev, &t, 1, &heard);
    assert_int_equal(a.matched, 0);
    agreement sum = a;
    agree_add(&sum, &a);
    assert_true(sum.frames == 2 * a.frames && sum.mic_flips == 4);
    flips_clear(&heard);
    contact_free(c);
    evidence_free(ev);
    track_free(t);
}

/* Steps of a third of the usual one, all on one side of what is usual: the EGG tells them where the
 * microphone hears flips there, and not where it hears as many elsewhere, nor where contact only
 * drifts, nor where the microphone hears no more than half of them. */
static void test_small_steps(void **state)
{
    (void)state;
    enum { N = 1600 };
    double share[N];
    for (int trial = 0; trial < 4; trial++) {
        const size_t stay = trial == 3 ? 320 : 400, n_heard = trial == 3 ? 2 : 3;
        for (size_t i = 0; i < N; i++) {
            bool m2 = trial != 2 && i / stay % 2;
            share[i] = 0.55 + 0.33 * m2 + 0.04 * sin(2 * M_PI * (double)i / 500);
        }
        track *t = lay(N, share);
        evidence *ev = evidence_new(&t, 1);
        contact *told = contact_new(ev, &t);
        flips heard = {0};
        size_t late = trial == 1 ? 200 : 4; /* frames */
        for (size_t i = 0; i < N; i++)
            t->reg[i] = i >= late && (i - late) / stay % 2 ? 2 : 1;
        for (size_t k = 1; k <= n_heard; k++)
            flips_append(&heard, (flip){.time_s = 0.005 * (double)(k * stay + late),
                                        .direction = k % 2 ? FLIP_UP : FLIP_DOWN,
                                        .confidence = 0.9});
        agreement a = agree_count(told, ev, &t, 1, &heard);
        assert_int_equal(a.egg_flips, 0);
        bool finer = agree_finer(&told, ev, &t, 1, &heard, &a);
        print_message("small steps %d: %s\n", trial, finer ? "told" : "not told");
        assert_true(finer == (trial == 0));
        assert_int_equal(a.matched, finer ? n_heard : 0);
        for (size_t k = 1; finer && k <= n_heard; k++)
            assert_true(contact_tells_flip(told, ev, change_near(told, k * stay), k % 2) > 0.9);
        flips_clear(&heard);
        contact_free(told);
        evidence_free(ev);
        track_free(t);
    }
}

/* Told from 0.75 on, and a flip as surely as the less sure of its sides. */
static void test_how_sure(void **state)
{
    (void)state;
    enum { N = 400, STAY = 100 };
    static const double p2[N / STAY] = {0.05, 0.8, 0.7, 0.02};
    double share[N] = {0};
    bool usable[N];
    track *t = lay(N, share);
    evidence *ev = evidence_new(&t, 1);
    contact c = {.n = N, .told = xcalloc(N, sizeof *c.told), .p2 = array_filled(N, 0)};
    for (size_t i = 0; i < N; i++) {
        usable[i] = true;
        c.p2[i] = p2[i / STAY];
    }
    contact_tell(&c, ev, usable);
    for (size_t i = 0; i < N; i++)
        assert_true(c.told[i] == (i / STAY != 2));
    assert_true(fabs(contact_tells_flip(&c, ev, STAY, true) - 0.8) < 1e-12);
    assert_true(contact_tells_flip(&c, ev, STAY, false) == 0);
    assert_true(contact_tells_flip(&c, ev, 2 * STAY + 50, false) == 0); /* too far from M2 */
    free(c.told);
    free(c.p2);
    evidence_free(ev);
    track_free(t);
}

/* Small steps as above, which a finer look tells; some frames have a quotient but no opening peak,
 * and cannot be used. It is also asked for where the EGG has the flips but names much of the voice
 * otherwise than the microphone, and not believed where it has fewer flips. */
static void test_a_finer_look(void **state)
{
    (void)state;
    enum { N = 1600, STAY = 400 };
    double share[N];
    for (size_t i = 0; i < N; i++)
        share[i] = 0.55 + 0.33 * (double)(i / STAY % 2);
    track *t = lay(N, share);
    for (size_t i = 200; i < 206; i++)
        t->egg[i].opening = -1;
    evidence *ev = evidence_new(&t, 1);
    flips heard = {0};
    for (size_t i = 0; i < N; i++)
        t->reg[i] = i / STAY % 2 ? 2 : 1;
    for (size_t k = 1; k <= 3; k++)
        flips_append(&heard, (flip){.time_s = 0.005 * (double)(k * STAY),
                                    .direction = k % 2 ? FLIP_UP : FLIP_DOWN,
                                    .confidence = 0.9});
    for (int trial = 0; trial < 3; trial++) {
        contact *told = contact_new(ev, &t);
        agreement a = {.mic_flips = 3, .matched = 2, .frames = N, .same = N / 2, .egg_flips = 3};
        a.same = trial == 1 ? N : a.same;
        a.egg_flips = trial == 2 ? 4 : a.egg_flips;
        assert_true(agree_finer(&told, ev, &t, 1, &heard, &a) == (trial == 0));
        for (int j = 0; j < CONTACT_FIGURES; j++)
            assert_true(isfinite(told->m1[j]) && isfinite(told->m2[j]));
        assert_int_equal(a.matched, trial ? 2 : 3);
        contact_free(told);
    }
    flips_clear(&heard);
    evidence_free(ev);
    track_free(t);
}

enum { TAKES_HEARD = 5 };

typedef struct session {
    truth t;
    size_t n; /* takes heard */
    track **tracks;
    flips *found;
    register_summary sum;
} session;

static session hear(const char *folder)
{
    session s = {.tracks = NULL};
    voice_settings v = voice_defaults();
    register_settings r = register_defaults();
    err e;
    assert_true(truth_read(folder, &s.t, &e));
    assert_true(s.t.egg_channel == 1 || s.t.egg_channel == 2);
    v.recording = (recording_settings){.channel = 3 - s.t.egg_channel, .egg = s.t.egg_channel};
    s.n = s.t.n;
    s.tracks = xcalloc(s.n, sizeof *s.tracks);
    s.found = xcalloc(s.n, sizeof *s.found);
    for (size_t k = 0; k < s.n; k++) {
        char *name = xformat("%s/%s", folder, s.t.takes[k].name);
        assert_true(voice_listen(name, &v, &s.tracks[k], NULL, &e));
        free(name);
    }
    register_decode(s.tracks, s.n, &r, s.found, &s.sum);
    return s;
}

static void session_clear(session *s)
{
    for (size_t k = 0; k < s->n; k++) {
        track_free(s->tracks[k]);
        flips_clear(&s->found[k]);
    }
    free(s->tracks);
    free(s->found);
    truth_clear(&s->t);
}

static bool in_change(const truth_take *t, size_t f)
{
    for (size_t i = 0; i < t->n_flips; i++)
        if (fabs(t->flips[i].time_s - TRUTH_HOP_S * (double)f) < t->flips[i].span_ms / 2000)
            return true;
    return false;
}

/* Share of the frames, changes left out, that are in the right register. */
static double right(const session *s)
{
    double good = 0, all = 0;
    for (size_t k = 0; k < s->n; k++)
        for (size_t f = 0; f < s->t.takes[k].n && f < s->tracks[k]->n; f++)
            if (s->t.takes[k].reg[f] && !isnan(s->tracks[k]->pitch_st[f]) &&
                !in_change(&s->t.takes[k], f)) {
                good += s->t.takes[k].reg[f] == s->tracks[k]->reg[f];
                all++;
            }
    return good / all;
}

static size_t matched(const truth_take *t, const flips *found, size_t *asserted)
{
    size_t n = 0;
    *asserted = 0;
    for (size_t j = 0; j < found->n; j++)
        *asserted += found->items[j].confidence >= FLIP_ASSERTED;
    for (size_t i = 0; i < t->n_flips; i++)
        for (size_t j = 0; j < found->n; j++)
            if (found->items[j].confidence >= FLIP_ASSERTED &&
                found->items[j].direction == t->flips[i].direction &&
                fabs(found->items[j].time_s - t->flips[i].time_s) < 0.06) {
                n++;
                break;
            }
    return n;
}

/* An EGG that cannot be used changes nothing: of two takes, with it and without. */
static void check_unusable(const session *s)
{
    enum { TAKES = 2 };
    track *t[2][TAKES];
    flips found[2][TAKES] = {{{0}}};
    register_summary sum[2];
    register_settings r = register_defaults();
    for (int v = 0; v < 2; v++) {
        for (size_t k = 0; k < TAKES; k++) {
            track *copy = t[v][k] = track_part(s->tracks[k], 0, s->tracks[k]->n);
            memset(copy->reg, 0, copy->n);
            for (size_t f = 0; f < copy->n; f++)
                copy->egg[f].clarity = 0;
            free(v ? copy->egg : NULL);
            copy->egg = v ? NULL : copy->egg;
        }
        register_decode(t[v], TAKES, &r, found[v], &sum[v]);
        assert_true(sum[v].egg.egg_s <= 0);
    }
    for (size_t k = 0; k < TAKES; k++) {
        assert_memory_equal(t[0][k]->reg, t[1][k]->reg, t[0][k]->n);
        for (int v = 0; v < 2; v++) {
            track_free(t[v][k]);
            flips_clear(&found[v][k]);
        }
    }
}

/* A smooth seam, where the microphone alone is at its worst: tuning seed 3 of the first voice. */
static void test_smooth_seam(void **state)
{
    (void)state;
    err e;
    assert_true(studio_family_egg(FAMILY_SMOOTH, 3, TAKES_HEARD, "build/test_contact-smooth", &e));
    session s = hear("build/test_contact-smooth");
    size_t flips_true = 0, hit = 0, found = 0, here;
    for (size_t k = 0; k < s.n; k++) {
        flips_true += s.t.takes[k].n_flips;
        hit += matched(&s.t.takes[k], &s.found[k], &here);
        found += here;
    }
    print_message(
        "smooth seam: %.4f of the frames right; of %zu flips %zu found right, %zu in all; "
        "the microphone alone agrees in %zu of %zu frames\n",
        right(&s), flips_true, hit, found, s.sum.egg.same, s.sum.egg.frames);
    assert_int_equal(s.sum.answer, REGISTER_BOTH);
    assert_true(right(&s) > 0.995 && hit + 1 >= flips_true && found <= hit + 1);
    assert_true(s.sum.egg.egg_s > 0.9 * s.sum.voiced_s && s.sum.egg.same <= s.sum.egg.frames);
    check_unusable(&s);
    session_clear(&s);
}

/* A singer of whom there is M2 alone: the sound does not tell which register that is, the EGG
 * does. Tuning seed 2 of the second voice. */
static void test_one_register_is_named(void **state)
{
    (void)state;
    err e;
    assert_true(album_write_egg(CAST_ONE_REGISTER, 2, TAKES_HEARD, "build/test_contact-one", &e));
    session s = hear("build/test_contact-one");
    print_message("one register: %s; %.4f of the frames right\n", s.sum.text, right(&s));
    assert_int_equal(s.sum.answer, REGISTER_ONE);
    assert_string_equal(s.sum.text, "one register in all takes, as the EGG tells");
    assert_true(right(&s) > 0.999);
    session_clear(&s);
}

/* Both test voices: the microphone's samples are those of the take without an EGG. */
static void test_same_sound(void **state)
{
    (void)state;
    static const char *const folders[2][2] = {
        {"build/test_contact-smooth", "build/test_contact-plain"},
        {"build/test_contact-one", "build/test_contact-plain2"}};
    err e;
    assert_true(studio_family(FAMILY_SMOOTH, 3, TAKES_HEARD, "build/test_contact-plain", &e));
    assert_true(album_write(CAST_ONE_REGISTER, 2, TAKES_HEARD, "build/test_contact-plain2", &e));
    for (int v = 0; v < 2; v++) {
        truth t;
        assert_true(truth_read(folders[v][0], &t, &e));
        for (size_t k = 0; k < t.n; k++) {
            recording *both, *one;
            static float a[4096], b[4096];
            size_t got_a, got_b;
            recording_settings s = {.channel = 3 - t.egg_channel, .egg = t.egg_channel};
            recording_settings none = recording_defaults();
            char *x = xformat("%s/%s", folders[v][0], t.takes[k].name);
            char *y = xformat("%s/%s", folders[v][1], t.takes[k].name);
            assert_true(recording_open(x, &s, &both, &e) && recording_open(y, &none, &one, &e));
            do {
                assert_true(recording_read(both, a, 4096, &got_a, &e) &&
                            recording_read(one, b, 4096, &got_b, &e));
                assert_int_equal(got_a, got_b);
                assert_memory_equal(a, b, got_a * sizeof *a);
            } while (got_a);
            recording_close(both);
            recording_close(one);
            free(x);
            free(y);
        }
        truth_clear(&t);
    }
}

static void test_an_unclear_egg_may_be_denied(void **state)
{
    (void)state;
    contact c = {.unclear = true};
    assert_true(agree_denied(&c, &(agreement){.mic_flips = 4, .matched = 1}));
    assert_false(agree_denied(&c, &(agreement){.mic_flips = 4, .matched = 2}));
    assert_false(agree_denied(&c, &(agreement){.mic_flips = 3}));
    c.unclear = false;
    assert_false(agree_denied(&c, &(agreement){.mic_flips = 4, .matched = 1}));
    enum { N = 400 };
    for (int known = 0; known < 2; known++) {
        double share[N];
        for (size_t i = 0; i < N; i++)
            share[i] = 0.2;
        track *t = lay(N, share);
        for (size_t i = 0; !known && i < N; i++)
            t->egg[i].quotient = (float)NAN;
        evidence *ev = evidence_new(&t, 1);
        contact *told = contact_new(ev, &t);
        assert_int_equal(told->unclear, !known);
        contact_free(told);
        evidence_free(ev);
        track_free(t);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_ramps),
        cmocka_unit_test(test_told),
        cmocka_unit_test(test_rest_is_no_flip),
        cmocka_unit_test(test_drift_is_no_flip),
        cmocka_unit_test(test_nothing_to_use),
        cmocka_unit_test(test_agreement),
        cmocka_unit_test(test_smooth_seam),
        cmocka_unit_test(test_one_register_is_named),
        cmocka_unit_test(test_same_sound),
        cmocka_unit_test(test_short_steps_are_no_drift),
        cmocka_unit_test(test_amplitude_falls),
        cmocka_unit_test(test_sudden_falls),
        cmocka_unit_test(test_lost_contact_tells_nothing),
        cmocka_unit_test(test_contact_goes_as_the_voice_leaps),
        cmocka_unit_test(test_gain_is_no_register),
        cmocka_unit_test(test_low_is_m1),
        cmocka_unit_test(test_small_steps),
        cmocka_unit_test(test_how_sure),
        cmocka_unit_test(test_a_finer_look),
        cmocka_unit_test(test_an_unclear_egg_may_be_denied),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
