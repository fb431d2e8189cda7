/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The second test voice, held against what it promises. Oracles: closed form (the pulse's spectrum,
 * the tract's response) against plain sums, the sound itself (its level, its cycles), what the
 * families' sentences say, and itself (the same seed gives the same sound). */
#include "base/array.h"
#include "base/note.h"
#include "voice/truth.h"
#include "voice2/album.h"
#include "voice2/chance.h"
#include "voice2/glottis.h"
#include "voice2/render.h"

#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

static void within(const char *what, double want, double got, double tolerance)
{
    if (!(fabs(got - want) <= tolerance))
        fail_msg("%s is %.5f, should be %.5f within %g", what, got, want, tolerance);
}

static double worse(double worst, double want, double got)
{
    return fmax(worst, fabs(got - want));
}

/* Amplitude at f_hz of n samples from `from`, four-term window (Harris 1978, from memory): callers
 * leave at least eight bins between what they measure. */
static double amplitude(const clip *c, size_t from, size_t n, double f_hz)
{
    double re = 0, im = 0, weights = 0;
    for (size_t i = 0; i < n; i++) {
        double x = 2 * M_PI * ((double)i + 0.5) / (double)n;
        double w = 0.35875 - 0.48829 * cos(x) + 0.14128 * cos(2 * x) - 0.01168 * cos(3 * x);
        double angle = 2 * M_PI * f_hz * (double)i / c->rate_hz;
        re += w * c->samples[from + i] * cos(angle);
        im += w * c->samples[from + i] * sin(angle);
        weights += w;
    }
    return 2 * hypot(re, im) / weights;
}

static double db(double ratio)
{
    return 20 * log10(ratio);
}

static void test_pulse_against_a_plain_sum(void **state)
{
    enum { STEPS = 200000 };
    (void)state;
    double worst = 0;
    for (double open = 0.35; open < 0.96; open += 0.15)
        for (double skew = 0.55; skew < 0.76; skew += 0.1) {
            glottis g = {open, skew};
            for (int h = 0; h <= 12; h += 3) {
                double complex sum = 0;
                for (int i = 0; i < STEPS; i++) {
                    double t = (i + 0.5) / STEPS;
                    sum += glottis_flow(&g, t) * cexp(-2 * M_PI * I * h * t) / STEPS;
                }
                worst = fmax(worst, cabs(sum - glottis_coefficient(&g, h)));
            }
        }
    printf("Fourier coefficients: at most %.1e off\n", worst);
    assert_true(worst < 1e-9);
}

static void test_open_quotient_for_a_spectrum(void **state)
{
    (void)state;
    double worst = 0;
    for (double open = GLOTTIS_LEAST + 0.02; open < GLOTTIS_MOST - 0.02; open += 0.04) {
        glottis g = {open, 0.6};
        double h1h2 = glottis_h1h2_db(&g, 2000, 250);
        worst = worse(worst, open, glottis_open_for(h1h2, 0.6, 2000, 250));
    }
    printf("open quotient found again: at most %.1e off\n", worst);
    assert_true(worst < 1e-6);
    assert_true(glottis_open_for(99, 0.6, 2000, 250) > GLOTTIS_MOST - 1e-6);
}

/* An act of one pitch and one pulse, without anything human. */
static act machine(vocalist *v, double f0_hz, double open, double tilt_hz)
{
    *v = vocalist_draw(CAST_CLEAR, 3);
    v->jitter = v->shimmer_db = v->wander = v->vibrato_st = v->vibrato_db = 0;
    v->tune = 0;
    chart c = {.kind = CHART_HOLD, .seconds = 2, .from_st = 50, .pinned = 1};
    c.from_db = c.to_db = v->middle_db;
    act a = enact(v, &c, 0);
    for (size_t k = 0; k < a.n; k++) {
        a.pitch_st[k] = note_from_hz(f0_hz);
        a.open[k] = open;
        a.skew[k] = 0.62;
        a.tilt_hz[k] = tilt_hz;
        a.level_db[k] = a.predicted_db[k] = -30;
        a.line.gate[k] = 1;
        a.air_db[k] = -200;
        a.line.breath[k] = 0;
        a.throat[k] = v->throat;
    }
    return a;
}

static void test_source_has_its_closed_form(void **state)
{
    (void)state;
    double worst = 0, between = 0;
    for (double f0 = 97.3; f0 < 1100; f0 *= 2.7) {
        vocalist v;
        act a = machine(&v, f0, 0.6, 2500);
        cycle *cycles;
        size_t n = render_cycles(&v, &a, 0, &cycles);
        clip flow = render_source(&a, cycles, n, 96000, NULL);
        glottis g = {0.6, 0.62};
        for (int h = 1; h * f0 < 12000; h++) {
            double want = glottis_harmonic(&g, 2500, f0, h) / (2 * M_PI * h * f0);
            worst = worse(worst, db(want), db(amplitude(&flow, 48000, 48000, h * f0)));
        }
        double first = amplitude(&flow, 48000, 48000, f0);
        for (int h = 1; (h + 0.37) * f0 < 20000; h++) /* what folds back falls between */
            between = fmax(between, amplitude(&flow, 48000, 48000, (h + 0.37) * f0) / first);
        free(cycles);
        clip_clear(&flow);
        act_clear(&a);
    }
    printf(
        "harmonics of the source up to 12 kHz: at most %.3f dB off; between them at most %.0f dB "
        "re the first\n",
        worst, db(between));
    assert_true(worst < 0.1);
    assert_true(db(between) < -90);
}

static void test_open_share_of_each_cycle(void **state)
{
    (void)state;
    vocalist v;
    act a = machine(&v, 151, 0.57, 3000);
    cycle *cycles;
    size_t n = render_cycles(&v, &a, 0, &cycles), open = 0;
    double *opening = xcalloc(2 * 96000 + 1, sizeof *opening);
    clip flow = render_source(&a, cycles, n, 96000, opening);
    for (size_t i = 0; i < 96000; i++)
        open += opening[48000 + i] > 0;
    printf("open share %.4f, asked for 0.57\n", (double)open / 96000);
    within("share of time with the glottis open", 0.57, (double)open / 96000, 0.003);
    free(cycles);
    free(opening);
    clip_clear(&flow);
    act_clear(&a);
}

/* The tract's response, from its impulse, against its closed form. */
static double response_off(const throat *t, double open)
{
    enum { N = 1 << 16, RATE = 96000 }; /* a quarter has rung out by 100 dB */
    clip c = {N, RATE, xcalloc(N, sizeof(double))};
    double *opening = array_filled(N, open), worst = 0;
    throat_run run = {0};
    c.samples[0] = 1;
    throat_filter(&run, t, RATE, opening, c.samples, N);
    for (double f = 60; f < 6500; f *= 1.05) {
        double re = 0, im = 0;
        for (int i = 0; i < N / 4; i++) {
            re += c.samples[i] * cos(2 * M_PI * f * i / RATE);
            im -= c.samples[i] * sin(2 * M_PI * f * i / RATE);
        }
        worst = worse(worst, db(throat_gain(t, open, f, RATE)), db(hypot(re, im)));
    }
    free(opening);
    clip_clear(&c);
    return worst;
}

static void test_tract_rings_at_its_formants(void **state)
{
    (void)state;
    double worst = 0, off = 0;
    for (unsigned seed = 1; seed <= 6; seed++) {
        throat t = vocalist_draw(CAST_CLEAR, seed).throat;
        t.parallel = false;
        t.pole_hz = 0;
        double peak = t.f_hz[0];
        for (double f = 0.8 * t.f_hz[0]; f < 1.25 * t.f_hz[0]; f += 0.5)
            if (throat_gain(&t, 0, f, 96000) > throat_gain(&t, 0, peak, 96000))
                peak = f;
        off = fmax(off, fabs(peak / t.f_hz[0] - 1));
        for (int form = 0; form < 4; form++) {
            t.parallel = form & 1;
            t.pole_hz = form & 2 ? 0.93 * t.zero_hz : 0;
            worst = fmax(worst, response_off(&t, 0.4 * (form & 1)));
        }
    }
    printf("tract against its closed form: at most %.4f dB off; F1 at most %.1f %% off\n", worst,
           100 * off);
    assert_true(worst < 0.01);
    assert_true(off < 0.03); /* F2's flank draws the peak of F1 a little */
}

/* A tract that moves keeps its formants where they are asked to be: tuned at once and glided to. */
static void test_gliding_tract_arrives(void **state)
{
    (void)state;
    enum { N = 20000 };
    throat a = vocalist_draw(CAST_CLEAR, 1).throat, b = a;
    b.f_hz[0] *= 0.7;
    b.f_hz[1] *= 1.4;
    throat_run glided = {0}, set = {0};
    double *still = xcalloc(N, sizeof *still), *x = xcalloc(N, sizeof *x),
           *y = xcalloc(N, sizeof *y);
    throat_filter(&glided, &a, 96000, still, x, 100);
    throat_filter(&glided, &b, 96000, still, x, 100);
    x[0] = y[0] = 1;
    throat_filter(&glided, &b, 96000, still, x, N);
    throat_filter(&set, &b, 96000, still, y, N);
    for (int i = 0; i < N; i++)
        within("sample after the glide", y[i], x[i], 1e-12);
    free(still);
    free(x);
    free(y);
}

static void test_cycles_keep_the_pitch(void **state)
{
    (void)state;
    double worst = 0;
    vocalist v = vocalist_draw(CAST_CLEAR, 5);
    v.jitter = v.ragged = 0;
    for (int take = 0; take < 4; take++) {
        chart c = chart_plan(&v, take);
        act a = enact(&v, &c, take);
        cycle *cycles;
        size_t n = render_cycles(&v, &a, take, &cycles);
        for (size_t i = 0; i + 1 < n; i++) { /* phase of the asked pitch over one cycle is 1 */
            double phase = 0, at = cycles[i].start_s, length = cycles[i].length_s;
            for (int m = 0; m < 50; m++) {
                size_t k = (size_t)((at + length * (m + 0.5) / 50) / CHART_STEP_S);
                phase += note_to_hz(a.pitch_st[k < a.n ? k : a.n - 1]) * length / 50;
            }
            bool near = false;
            for (size_t f = 0; f < a.n_turns; f++)
                near |= fabs(at - a.turns[f].time_s) < 0.1;
            if (a.reg[cycles[i].step] && !near)
                worst = worse(worst, 0, 1200 * log2(phase));
            within("gap between cycles (s)", cycles[i + 1].start_s, at + length, 1e-12);
        }
        free(cycles);
        act_clear(&a);
    }
    printf("cycles against the asked pitch: at most %.2f cents off\n", worst);
    assert_true(worst < 2); /* asked a millisecond each, and scoops bend within a cycle */
}

static void test_level_as_asked(void **state)
{
    (void)state;
    static const cast_family some[4] = {CAST_SMOOTH, CAST_BREATHY, CAST_VOWEL_I, CAST_VOWEL_CHANGE};
    double sum = 0, worst = 0;
    size_t n = 0, far = 0;
    for (int i = 0; i < 4; i++) {
        vocalist v = vocalist_draw(some[i], 2);
        chart c = chart_plan(&v, 1);
        act a = enact(&v, &c, 1);
        clip x = render_clean(&v, &a, 1);
        for (size_t k = 100; k + 100 < a.n; k += 20) {
            double asked = 0, flat = 1;
            for (size_t m = k - 25; m <= k + 25; m++) {
                double w = 1 + cos(M_PI * ((double)m - (double)k) / 26);
                asked += w * pow(10, a.level_db[m] / 10) / 52;
                flat = fmin(flat, a.line.gate[m]);
            }
            if (flat < 0.99)
                continue;
            double off =
                fabs(clip_level_db(&x, (double)k * CHART_STEP_S, 0.052) - 10 * log10(asked));
            sum += off;
            worst = fmax(worst, off);
            far += off > 1;
            n++;
        }
        clip_clear(&x);
        act_clear(&a);
    }
    printf("level: %.2f dB off on average, at most %.2f, %zu of %zu above 1 dB\n", sum / (double)n,
           worst, far, n);
    assert_true(n > 400 && sum / (double)n < 0.3);
    assert_true(far <= n / 50); /* breath noise is that uneven */
}

/* What the truth says of one take has to fit together. */
static void check_act(const vocalist *v, const chart *c, const act *a)
{
    size_t changes = 0, next = 0;
    for (size_t i = 0; i < a->n_turns; i++)
        changes += a->turns[i].unheard;
    for (size_t k = 1; k < a->n; k++) {
        if (!a->reg[k] || !a->reg[k - 1] || a->reg[k] == a->reg[k - 1])
            continue;
        while (next < a->n_turns && a->turns[next].unheard)
            next++;
        assert_true(next < a->n_turns);
        const turn *f = &a->turns[next++];
        assert_int_equal(f->up ? 2 : 1, a->reg[k]);
        within("time of the change of register (s)", f->time_s, (double)k * CHART_STEP_S, 0.0025);
        changes++;
    }
    assert_int_equal(changes, a->n_turns);
    assert_true(!c->pinned || a->n_turns == 0);
    for (size_t k = 0; k < a->n; k++) {
        assert_true(!c->pinned || !a->reg[k] || a->reg[k] == c->pinned);
        assert_true(a->open[k] > 0.29 && a->open[k] < 0.96);
        assert_true(a->reg[k] ? isfinite(a->level_db[k]) : a->line.gate[k] < 0.1);
        assert_true(a->throat[k].f_hz[0] > 100 && a->throat[k].f_hz[1] > a->throat[k].f_hz[0]);
        double least_st = a->line.fry[k] > 0 ? note_from_hz(25) : 33;
        assert_true(!a->reg[k] || (a->pitch_st[k] > least_st && a->pitch_st[k] < 90));
    }
    cast_row row = cast_get(v->family, v->woman);
    for (size_t i = 0; i < a->n_turns; i++) {
        const turn *f = &a->turns[i];
        assert_true(f->unheard || f->kind == TURN_CYCLE ||
                    (f->span_ms >= row.span_ms[0] - 1e-9 && f->span_ms <= row.span_ms[1] + 1e-9));
        assert_true(fabs(f->to_st - f->from_st) <= 1.65 * row.leap_st[1]);
        assert_true(i == 0 || f->up != a->turns[i - 1].up);
    }
}

static void test_truth_fits_together(void **state)
{
    (void)state;
    size_t takes = 0, turns = 0, voiced[3] = {0};
    for (int f = 0; f < CAST_FAMILIES; f++) {
        vocalist v = vocalist_draw((cast_family)f, 1);
        bool still = f >= CAST_STILL, with = false, without = false;
        int n = chart_count(&v);
        assert_in_range(n, 8, 10);
        for (int take = 0; take < n; take += still ? 1 : 3) {
            chart c = chart_plan(&v, take);
            act a = enact(&v, &c, take);
            check_act(&v, &c, &a);
            with |= a.n_turns > 0;
            without |= a.n_turns == 0;
            turns += a.n_turns;
            takes++;
            for (size_t k = 0; k < a.n; k++)
                voiced[a.reg[k]]++;
            act_clear(&a);
        }
        assert_true(f < CAST_STILL ? with : f < CAST_BESIDE ? !with : with && without);
    }
    printf("%zu takes, %zu flips, voiced %.0f s in M1, %.0f s in M2\n", takes, turns,
           (double)voiced[1] * CHART_STEP_S, (double)voiced[2] * CHART_STEP_S);
}

/* Portamento as wide and quick as told; doubled stretches alternate by the depth that is told. */
static void test_what_tempts_is_there(void **state)
{
    (void)state;
    enum { REACH = 160 };
    for (unsigned seed = 1; seed <= 4; seed++) {
        vocalist v = vocalist_draw(CAST_PORTAMENTO, seed), d = vocalist_draw(CAST_DOUBLING, seed);
        chart c = chart_plan(&v, 1), doubled = chart_plan(&d, 1);
        act a = enact(&v, &c, 1), b = enact(&d, &doubled, 1);
        double widest = 0, off = 0;
        for (size_t k = 0; k + REACH < a.n; k++)
            if (a.reg[k] && a.reg[k + REACH])
                widest = fmax(widest, fabs(a.pitch_st[k + REACH] - a.pitch_st[k]));
        assert_true(c.to_st - c.from_st >= 7 && c.to_st - c.from_st <= 12);
        within("portamento (st)", c.to_st - c.from_st, widest, 1.3);
        cycle *cycles;
        d.jitter = d.shimmer_db = 0;
        size_t n = render_cycles(&d, &b, 1, &cycles), alternate = 0;
        for (size_t i = 1; i < n; i++) {
            double deep = b.line.doubled[cycles[i].step];
            if (deep < 0.14 || fabs(deep - b.line.doubled[cycles[i - 1].step]) > 1e-9)
                continue;
            double louder = fabs(cycles[i].more_db - cycles[i - 1].more_db);
            off = worse(off, -db(1 - deep), louder);
            double longer = fabs(log(cycles[i].length_s / cycles[i - 1].length_s));
            off = worse(off, log((1 + 0.1 * deep) / (1 - 0.1 * deep)), longer);
            alternate++;
        }
        assert_true(alternate > 20 && off < 0.02); /* lengths follow the pitch as well */
        free(cycles);
        act_clear(&a);
        act_clear(&b);
    }
}

/* Speech moves lips and tongue all the time, and its tune no faster than two stresses at once (Xu
 * and Sun 2002, from memory: at most 10.8 semitones a second and 5.6 more for each semitone). A
 * register is held, or changes on the way or while the voice rests. */
static void test_speech(void **state)
{
    (void)state;
    size_t heard = 0, unheard = 0;
    for (unsigned seed = 1; seed <= 4; seed++) {
        vocalist v = vocalist_draw(CAST_SPEECH, seed);
        for (int take = 0; take < 7; take++) {
            chart c = chart_plan(&v, take);
            act a = enact(&v, &c, take);
            double lo = 0, hi = 0, fastest = 0;
            size_t rests = 0;
            for (size_t k = 20; k < a.n; k++) {
                assert_true(!a.reg[k] || take % 3 == 0 || a.reg[k] == take % 3);
                lo = fmin(lo, a.line.mouth[1][k]);
                hi = fmax(hi, a.line.mouth[1][k]);
                rests += a.reg[k - 1] && !a.reg[k];
                if (a.reg[k] && a.reg[k - 20])
                    fastest = fmax(fastest, fabs(a.line.pitch_st[k] - a.line.pitch_st[k - 20]));
            }
            assert_true(hi - lo > 0.4 && rests >= 4);
            assert_true(fastest / (20 * CHART_STEP_S) < 10.8 + 5.6 * 12);
            for (size_t i = 0; i < a.n_turns; i++) {
                bool rest = a.reg[(size_t)(a.turns[i].time_s / CHART_STEP_S)] == 0;
                assert_int_equal(a.turns[i].unheard, rest);
                unheard += rest;
                heard += !rest;
            }
            act_clear(&a);
        }
    }
    printf("%zu flips, %zu changes at rest\n", heard, unheard);
    assert_true(heard > 0 && unheard > 0);
}

/* A tune moves lips and tongue from note to note, rests at consonants, keeps its register and goes
 * no faster than voices can (as in speech). */
static void test_tune(void **state)
{
    (void)state;
    size_t rests = 0;
    for (unsigned seed = 1; seed <= 4; seed++) {
        vocalist v = vocalist_draw(CAST_TUNE, seed);
        chart c = chart_plan(&v, 1);
        act a = enact(&v, &c, 1);
        double lo = 0, hi = 0, low = 200, high = 0, fastest = 0;
        for (size_t k = 20; k < a.n; k++) {
            double st = a.line.pitch_st[k];
            rests += a.reg[k - 1] && !a.reg[k];
            if (!a.reg[k] || !a.reg[k - 20])
                continue;
            assert_int_equal(a.reg[k], c.pinned);
            lo = fmin(lo, a.line.mouth[1][k]);
            hi = fmax(hi, a.line.mouth[1][k]);
            low = fmin(low, st);
            high = fmax(high, st);
            fastest = fmax(fastest, fabs(st - a.line.pitch_st[k - 20]));
        }
        assert_true(hi - lo > 0.4 && high - low > 4 && high - low < 20);
        assert_true(fastest / (20 * CHART_STEP_S) < 10.8 + 5.6 * 12);
        act_clear(&a);
    }
    assert_true(rests >= 12);
}

/* Of a lilt's flips six in ten come while lips or tongue are shut. */
static void test_lilt(void **state)
{
    (void)state;
    size_t n = 0, shut = 0;
    for (unsigned seed = 1; seed <= 6; seed++) {
        vocalist v = vocalist_draw(CAST_LILT, seed);
        chart c = chart_plan(&v, 1);
        assert_true(c.kind == CHART_ATWILL && c.vowel_b);
        act a = enact(&v, &c, 1);
        for (size_t i = 0; i < a.n_turns; i++, n++)
            shut += a.line.closure[(size_t)(a.turns[i].time_s / CHART_STEP_S)] > 0.2;
        act_clear(&a);
    }
    printf("%zu of %zu flips with a consonant\n", shut, n);
    assert_true(n >= 20 && shut * 10 > n * 4 && shut * 10 < n * 8);
}

/* The families are what their sentences say. */
static void test_families_keep_their_word(void **state)
{
    (void)state;
    double quickest = 9;
    for (unsigned seed = 1; seed <= 300; seed++) {
        vocalist seam = vocalist_draw(CAST_SMOOTH, seed),
                 low = vocalist_draw(CAST_LOW_CONTRAST, seed);
        const vocalist *alike[2] = {&seam, &low};
        for (int i = 0; i < 2; i++)
            for (double more = -8; more <= 8; more += 8) {
                const vocalist *v = alike[i];
                double level = v->middle_db + more;
                double step = vocalist_h1h2_db(v, 1, v->edge_st, level) -
                              vocalist_h1h2_db(v, 0, v->edge_st, level);
                assert_true(fabs(step) <= 4.3); /* 4 dB and what tilt adds far from the middle */
            }
        assert_true(seam.leap_st <= 0.25 && 1.2 * seam.leap_st <= 0.3 + 1e-9);
        vocalist one = vocalist_draw(CAST_YODEL, seed), woman = vocalist_draw(CAST_WOMAN_LOW, seed);
        chart c = chart_plan(&one, 1);
        assert_true(c.kind == CHART_ATWILL && c.rate_hz >= 0.8 && c.rate_hz <= 3);
        quickest = fmin(quickest, 1 / c.rate_hz);
        assert_true(woman.woman && note_to_hz(woman.edge_st) < 395);
        vocalist any = vocalist_draw(CAST_CLEAR, seed);
        double m1 = vocalist_open(&any, 0, any.edge_st, any.middle_db, 0);
        double m2 = vocalist_open(&any, 1, any.edge_st, any.middle_db, 0);
        /* Henrich et al. 2005 (from memory): 0.3-0.8 in M1, 0.5-0.95 in M2 */
        assert_true(m1 > 0.3 && m1 < 0.8 && m2 > 0.48 && m2 < 0.95);
    }
    assert_true(quickest < 0.36);
}

/* Where the voice flips up, standardised: about 0 on average, about 1 wide. Slides reach the
 * boundary from far below, so that truncation plays no part. */
static void test_thresholds_scatter_as_told(void **state)
{
    (void)state;
    double sum = 0, squares = 0;
    size_t n = 0;
    for (unsigned seed = 1; seed <= 60; seed++) {
        vocalist v = vocalist_draw(CAST_CLEAR, seed);
        chart c = chart_plan(&v, 1);
        act a = enact(&v, &c, 1);
        if (a.n_turns > 0 && a.turns[0].up) {
            const turn *f = &a.turns[0];
            double z = (f->pitch_st - vocalist_up_st(&v, f->level_db)) / v.scatter_st;
            sum += z;
            squares += z * z;
            n++;
        }
        act_clear(&a);
    }
    double mean = sum / (double)n, sd = sqrt(squares / (double)n - mean * mean);
    printf("%zu up-flips: %.2f scatters from the boundary on average, %.2f wide\n", n, mean, sd);
    assert_true(n > 50);
    within("mean", 0, mean, 0.45);  /* three standard errors */
    within("width", 1.04, sd, 0.3); /* the take's own shift adds to the scatter */
}

static void test_room_and_noise_as_asked(void **state)
{
    (void)state;
    vocalist v = vocalist_draw(CAST_NOISY_ROOM, 1);
    v.snr_db = 300;
    v.hum_db = INFINITY;
    clip c = {48000, 48000, xcalloc(48000, sizeof(double))};
    c.samples[100] = 1;
    double tail = 0;
    render_place(&v, &c, 0);
    for (size_t i = 0; i < c.n; i++)
        tail += i == 100 ? 0 : c.samples[i] * c.samples[i];
    within("direct over reflected (dB)", v.direct_db, -10 * log10(tail), 0.1);
    for (int i = 0; i < 100; i++)
        within("before the direct sound", 0, c.samples[i], 1e-9);
    v.dry = true;
    v.snr_db = 20;
    for (size_t i = 0; i < c.n; i++)
        c.samples[i] = sin(2 * M_PI * 300 * (double)i / 48000);
    render_place(&v, &c, 0);
    double noise = 0;
    for (size_t i = 0; i < c.n; i++) {
        double x = c.samples[i] - sin(2 * M_PI * 300 * (double)i / 48000);
        noise += 2 * x * x / 48000;
    }
    within("voice over noise (dB)", 20, -10 * log10(noise), 0.1);
    clip_clear(&c);
}

static void test_wander_has_its_spread(void **state)
{
    (void)state;
    enum { N = 400000 };
    gsl_rng *r = chance_new("wander", 1, 0, "test");
    double *x = xmalloc(N, sizeof *x), sum = 0, squares = 0;
    chance_wander(r, N, 0.001, 0.5, 0.3, x);
    for (int i = 0; i < N; i++) {
        sum += x[i];
        squares += x[i] * x[i];
    }
    within("mean", 0, sum / N, 0.01);
    within("spread", 0.3, sqrt(squares / N), 0.02);
    free(x);
    gsl_rng_free(r);
}

static uint64_t file_hash(const char *folder, const char *name)
{
    char *path = xformat("%s/%s", folder, name);
    FILE *in = fopen(path, "rb");
    assert_non_null(in);
    uint64_t hash = 14695981039346656037U;
    for (int c = getc(in); c != EOF; c = getc(in))
        hash = (hash ^ (uint64_t)c) * 1099511628211U;
    fclose(in);
    free(path);
    return hash;
}

static void folder_remove(const char *folder)
{
    static const char *const tables[4] = {"takes", "frames", "flips", "boundary"};
    for (int i = 0; i < 14; i++) {
        char *path = i < 10 ? xformat("%s/take-%02d.wav", folder, i)
                            : xformat("%s/%s.tsv", folder, tables[i - 10]);
        remove(path);
        free(path);
    }
    assert_int_equal(0, rmdir(folder));
}

/* The same seed gives the same files, another one others; the tables are read as the first voice's
 * are; no sample is beyond full scale. */
static void test_album_on_disk(void **state)
{
    (void)state;
    char base[] = "/tmp/voice2XXXXXX";
    assert_non_null(mkdtemp(base));
    char *one = xformat("%s/one", base), *again = xformat("%s/again", base);
    err e = {0};
    assert_true(album_write(CAST_CONSONANTS + CAST_BESIDE - CAST_STILL, 4, ALBUM_ALL, one, &e));
    assert_true(album_write(CAST_CONSONANTS + CAST_BESIDE - CAST_STILL, 4, ALBUM_ALL, again, &e));
    static const char *const names[4] = {"take-00.wav", "take-07.wav", "frames.tsv", "flips.tsv"};
    for (int i = 0; i < 4; i++)
        assert_true(file_hash(one, names[i]) == file_hash(again, names[i]));
    assert_true(file_hash(one, "take-01.wav") != file_hash(one, "take-02.wav"));
    truth t = {0};
    assert_true(truth_read(one, &t, &e));
    vocalist v = vocalist_draw(CAST_CONSONANTS + CAST_BESIDE - CAST_STILL, 4);
    assert_int_equal(chart_count(&v), t.n);
    within("boundary read back", v.edge_st, t.up_st, 1e-4);
    within("the lower one", v.edge_st - v.lag_st, t.down_st, 1e-3);
    for (size_t i = 0; i < t.n; i++) {
        char *path = xformat("%s/%s", one, t.takes[i].name);
        SF_INFO info = {0};
        SNDFILE *file = sf_open(path, SFM_READ, &info);
        assert_non_null(file);
        assert_int_equal(v.rate_hz, info.samplerate);
        within("length (s)", (double)t.takes[i].n * TRUTH_HOP_S, (double)info.frames / v.rate_hz,
               TRUTH_HOP_S);
        sf_close(file);
        free(path);
    }
    truth_clear(&t);
    folder_remove(one);
    folder_remove(again);
    assert_int_equal(0, rmdir(base));
    free(one);
    free(again);
}

static void test_names_are_found(void **state)
{
    (void)state;
    for (int f = 0; f < CAST_FAMILIES; f++)
        assert_int_equal(f, cast_by_name(cast_get((cast_family)f, false).name));
    assert_int_equal(CAST_FAMILIES, cast_by_name("no such family"));
    assert_string_equal("tune-beside", cast_get(CAST_FAMILIES - 1, true).name);
    double f[THROAT_VOWEL];
    assert_false(throat_vowel(false, 'x', f));
    assert_false(throat_vowel(false, '\0', f));
    assert_true(throat_vowel(true, 'u', f) && f[0] == 370);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_pulse_against_a_plain_sum),
        cmocka_unit_test(test_open_quotient_for_a_spectrum),
        cmocka_unit_test(test_source_has_its_closed_form),
        cmocka_unit_test(test_open_share_of_each_cycle),
        cmocka_unit_test(test_tract_rings_at_its_formants),
        cmocka_unit_test(test_gliding_tract_arrives),
        cmocka_unit_test(test_cycles_keep_the_pitch),
        cmocka_unit_test(test_level_as_asked),
        cmocka_unit_test(test_truth_fits_together),
        cmocka_unit_test(test_what_tempts_is_there),
        cmocka_unit_test(test_speech),
        cmocka_unit_test(test_tune),
        cmocka_unit_test(test_lilt),
        cmocka_unit_test(test_families_keep_their_word),
        cmocka_unit_test(test_thresholds_scatter_as_told),
        cmocka_unit_test(test_room_and_noise_as_asked),
        cmocka_unit_test(test_wander_has_its_spread),
        cmocka_unit_test(test_album_on_disk),
        cmocka_unit_test(test_names_are_found),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
