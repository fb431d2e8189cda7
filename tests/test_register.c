/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The register stage. Oracles: every path of a short chain summed by hand; invariance to gain;
 * a test voice whose flips are known; inputs with nothing in them. */
#include "base/array.h"
#include "base/note.h"
#include "register/chain.h"
#include "register/climb.h"
#include "register/decode.h"
#include "register/design.h"
#include "register/hazard.h"
#include "register/place.h"
#include "register/steps.h"
#include "voice/listen.h"
#include "voice/truth.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* n voiced frames in one stretch, far from its ends. */
static evidence *stretch(size_t n)
{
    evidence *ev = evidence_alloc(n);
    for (size_t i = 0; i < n; i++) {
        ev->gap_s[i] = i > 0 ? 0.005 : (double)INFINITY;
        ev->edge_s[i] = ev->sudden[i] = 1;
        ev->pitch_st[i] = 60;
        ev->hz[i] = 260;
    }
    return ev;
}

/* Probability of M2 in each frame by summing all 2^n paths, no drift. */
static void all_paths(size_t n, const chain_inputs *in, const chain_settings *s, double *p2)
{
    double sum = 0;
    memset(p2, 0, n * sizeof *p2);
    for (unsigned path = 0; path < 1u << n; path++) {
        double log_p = 0;
        for (size_t i = 0; i < n; i++) {
            bool m2 = path >> i & 1, was = i && (path >> (i - 1) & 1);
            double c = m2 ? 0.5 : -0.5, up = in->up[i], down = in->down[i];
            if (i == 0)
                log_p += log(1 / (1 + exp(m2 ? -in->place[0] : in->place[0])));
            else
                log_p += log(was ? (m2 ? 1 - down : down) : (m2 ? up : 1 - up)) -
                         fmax(0, was ? in->opt_told[i] : -in->opt_told[i]);
            log_p += s->temper * in->says[i].weight *
                         (c * in->says[i].z - 0.5 * c * c * in->says[i].mass) +
                     c * s->place * in->place[i];
        }
        sum += exp(log_p);
        for (size_t i = 0; i < n; i++)
            p2[i] += (path >> i & 1) ? exp(log_p) : 0;
    }
    for (size_t i = 0; i < n; i++)
        p2[i] /= sum;
}

static void test_chain_is_the_sum_of_all_paths(void **state)
{
    (void)state;
    enum { N = 9 };
    evidence *ev = stretch(N);
    chain_settings s = chain_defaults();
    s.drift_sd = 1e-6;
    saying says[N];
    double up[N], down[N], odds[N], told[N] = {[3] = 2.5, [7] = -1.5}, got[N], want[N], worst = 0;
    for (size_t i = 0; i < N; i++) {
        says[i] = (saying){i < 4 ? -20 - 3.0 * (double)i : 25, 30, 1};
        up[i] = 0.02 + 0.01 * (double)i;
        down[i] = 0.05;
        odds[i] = (double)i - 4;
    }
    chain_inputs in = {says, up, down, odds, told};
    chain_run(ev, &in, &s, got, NULL);
    all_paths(N, &in, &s, want);
    for (size_t i = 0; i < N; i++)
        worst = fmax(worst, fabs(got[i] - want[i]));
    print_message("chain against all paths: worst %.2g\n", worst);
    assert_true(worst < 1e-4);
    evidence_free(ev);
}

static void test_hazard_rises_with_leaps_and_ends_at_the_ends(void **state)
{
    (void)state;
    enum { N = 5 };
    evidence *ev = stretch(N);
    hazard_settings s = hazard_defaults();
    double up_step[N] = {0, 0, 0, 4, 0}, down_step[N] = {0, 0, 0, 0, 4}, up[N], down[N], told[N];
    ev->edge_s[0] = 0.01;
    ev->leap_st[2] = 4;
    hazard_measure(ev, up_step, down_step, &s, up, down, told);
    assert_true(up[0] == 0 && down[0] == 0);
    assert_true(fabs(up[1] - s.rate * 0.005 / (1 + s.rate * 0.005)) < 1e-9);
    assert_true(up[2] > 100 * up[1] && up[2] > 10 * down[2]);
    assert_true(up[3] > 10 * down[3] && down[4] > 10 * up[4]);
    double quick = up[2]; /* rare as it is, the leap tells that it was M1 before */
    assert_true(fabs(told[2] - s.before * (log1p(exp(log(s.rate * 0.005) + 10.5)) -
                                           log1p(exp(log(s.rate * 0.005) + 0.3 * 10.5)))) < 1e-9);
    assert_true(told[0] == 0 && told[1] == 0 && told[3] == 0 && told[4] == 0);
    ev->sudden[2] = 0.4; /* as slow as a portamento, on its own and amid a slide */
    hazard_measure(ev, up_step, down_step, &s, up, down, told);
    assert_true(up[2] < 0.1 * quick);
    ev->slide[2] = s.slide_full;
    hazard_measure(ev, up_step, down_step, &s, up, down, told);
    assert_true(fabs(up[2] - quick) < 1e-9);
    double silent = up[1];
    ev->stated[1] = STATED_FLIP; /* what is stated goes before what is heard */
    ev->stated[2] = STATED_SAME;
    hazard_measure(ev, up_step, down_step, &s, up, down, told);
    assert_true(up[1] > 100 * silent && down[1] == up[1]);
    assert_true(up[2] == 0 && down[2] == 0);
    evidence_free(ev);
}

/* Worlds that began stiff or are tidied have to stand better than others; none stands worse than
 * one that failed. */
static void test_some_worlds_have_to_stand_better(void **state)
{
    (void)state;
    world w[] = {{.standing = -1, .stiff = true},
                 {.standing = 2, .tidy = true},
                 {.standing = 5},
                 {.standing = 8.9, .stiff = true},
                 {.standing = 9.1, .stiff = true, .tidy = true}};
    for (size_t k = 0; k + 1 < sizeof w / sizeof *w; k++)
        assert_true(climb_stands(&w[k]) < climb_stands(&w[k + 1]) || k == 2);
    assert_true(climb_stands(&w[2]) == 5 && climb_stands(&w[3]) < 5 && climb_stands(&w[4]) > 5);
}

/* Of two leaps up one goes into M2: half are flips. With ten more that nothing follows few are, and
 * with as many more that go into M2 nearly all. Small ones do not count. */
static void test_leaps_are_worth_what_the_singer_makes_of_them(void **state)
{
    (void)state;
    enum { N = 1000, APART = 50 };
    evidence *ev = stretch(N);
    hazard_settings s = hazard_defaults();
    double p2[N] = {0};
    ev->leap_st[50] = ev->leap_st[100] = 3;
    ev->leap_st[150] = 0.9;
    for (size_t i = 104; i < N; i++)
        p2[i] = 1;
    assert_true(fabs(hazard_leap_most(ev, p2, &s) - s.leap_even) < 1e-9);
    for (size_t i = 400; i < 900; i += APART)
        ev->leap_st[i] = i / APART % 2 ? 2 : -2;
    double melody = hazard_leap_most(ev, p2, &s);
    assert_true(fabs(melody - s.leap_even - s.leap_alike * log(3.0 / 13)) < 1e-9);
    for (size_t i = 400; i < N; i++)
        p2[i] = i / APART % 2 ? 1 : 0;
    double yodel = hazard_leap_most(ev, p2, &s);
    assert_true(fabs(yodel - fmin(s.leap_even + s.leap_alike * log(13.0 / 3), s.leap_most)) < 1e-9);
    assert_true(melody < s.leap_even - 3 && yodel > s.leap_even + 3);
    evidence_free(ev);
}

/* The greatest of v[n] and where it is. */
static double greatest(const double *v, size_t n, size_t *at)
{
    *at = 0;
    for (size_t i = 1; i < n; i++)
        if (v[i] > v[*at])
            *at = i;
    return v[*at];
}

/* -1..1 */
static double jitter(uint32_t *dice)
{
    *dice = *dice * 1664525u + 1013904223u;
    return (*dice >> 8) / 8388608.0 - 1;
}

static void measure(const model *m, const evidence *ev, const double *p2, double *up, double *down)
{
    float(*r)[HARMONICS] = xmalloc(ev->n, sizeof *r);
    harmonic_step *steps = xmalloc(ev->n, sizeof *steps);
    design *d = design_new(ev, m);
    design_unexplained(d, m, r);
    design_residuals(d, m, NULL, r, r);
    design_free(d);
    steps_of_harmonics(m, ev, r, steps);
    steps_measure(ev, steps, p2, up, down);
    free(steps);
    free(r);
}

/* Harmonics and level that jitter by 1 dB; at frame AT the first harmonic rises by 4 dB: M2. */
static void test_a_step_is_found_where_it_is_and_its_way(void **state)
{
    (void)state;
    enum { N = 1000, AT = 501 };
    evidence *ev = stretch(N);
    model m = {.hi = 4, .pitch_mid = 60};
    double p2[N], up[N], down[N];
    size_t where, other;
    uint32_t dice = 7;
    for (int h = 0; h < HARMONICS; h++)
        m.sigma[h * HARMONICS + h] = 1;
    m.beta[MODEL_D] = 4;
    for (size_t i = 0; i < N; i++) {
        p2[i] = 0.5;
        ev->dip_db[i] = jitter(&dice);
        ev->step_db[i] = jitter(&dice);
        for (int h = 0; h < HARMONICS; h++)
            ev->y_db[i][h] = (float)(jitter(&dice) + (h == 0 && i >= AT ? 4 : 0));
    }
    measure(&m, ev, p2, up, down);
    double found = greatest(up, N, &where);
    assert_true(found > 3 && where + 5 >= AT && where <= AT + 5);
    assert_true(greatest(down, N, &other) < 1);
    for (size_t i = AT - 8; i < AT + 8; i++) {
        ev->dip_db[i] = 3; /* the level tells, too */
        ev->step_db[i] = -4;
    }
    measure(&m, ev, p2, up, down);
    double both = greatest(up, N, &where);
    assert_true(both > found + 2);
    assert_true(where + 8 >= AT && where <= AT + 8);
    for (size_t i = 0; i < N; i++)
        ev->y_db[i][0] *= -1; /* the same, down */
    for (size_t i = AT - 8; i < AT + 8; i++)
        ev->step_db[i] = 4;
    measure(&m, ev, p2, up, down);
    assert_true(fabs(greatest(down, N, &where) - both) < 1);
    assert_true(where + 8 >= AT && where <= AT + 8 && up[where] == 0);
    evidence_free(ev);
}

/* What the model leaves of harmonic h of frame i, the gain left in. */
static double left_of(const model *m, const evidence *ev, size_t i, int h, double s)
{
    double hz = 300 * (exp2((double)ev->warp[i][h]) - 1), level = ev->level_db[i];
    return (double)ev->y_db[i][h] - model_tract(m, hz) - m->beta[MODEL_S + h] -
           s * model_step(m, h, level) - m->beta[MODEL_A + h] * level -
           m->beta[MODEL_C + h] * (ev->pitch_st[i] - m->pitch_mid);
}

/* Half the weighted sum of squares over all rows, each less its mean; rows of what the register is
 * in doubt by beside those of what is left. */
static double squares(const model *m, const evidence *ev, const double *p2, double rho)
{
    double sum = 0;
    for (size_t i = 0; i < ev->n; i++) {
        double w[HARMONICS], x[2][HARMONICS], all = 0, mean[2] = {0};
        bool pair = ev->before[i] != EVIDENCE_NONE;
        size_t j = pair ? ev->before[i] : i;
        double r = pair ? rho : 0, sd = sqrt(p2[i] * (1 - p2[i])), sd_j = sqrt(p2[j] * (1 - p2[j]));
        for (int h = 0; h < HARMONICS; h++) {
            x[0][h] = left_of(m, ev, i, h, p2[i] - 0.5) - r * left_of(m, ev, j, h, p2[j] - 0.5);
            x[1][h] = sd * model_step(m, h, ev->level_db[i]) -
                      r * sd_j * model_step(m, h, ev->level_db[j]);
            w[h] = isnan(x[0][h]) ? 0
                                  : (pair ? 1 : 1 - rho * rho) /
                                        (m->sigma[h * HARMONICS + h] + (double)ev->var[i][h] +
                                         r * r * (double)ev->var[j][h]);
            x[0][h] = w[h] > 0 ? x[0][h] : 0;
            all += w[h];
            for (int k = 0; k < 2; k++)
                mean[k] += w[h] * x[k][h];
        }
        for (int h = 0; h < HARMONICS; h++)
            for (int k = 0; k < 2; k++)
                sum += 0.5 * w[h] * (x[k][h] - mean[k] / all) * (x[k][h] - mean[k] / all);
    }
    return sum;
}

/* Frames of any pitch and level, a tenth of whose harmonics are missing. Central differences of a
 * sum of squares are its slopes; floats leave them right to 1e-5 of the greatest. */
static void test_the_gradient_is_the_slope_of_the_squares(void **state)
{
    (void)state;
    enum { N = 60, LAG = 20 };
    const double rho = 0.7, step = 0.5;
    evidence *ev = stretch(N);
    model m = {.lo = 1, .hi = 4.5, .pitch_mid = 60};
    double p2[N], g[MODEL_SIZE], greatest_slope = 0, worst = 0;
    uint32_t dice = 3;
    for (size_t i = 0; i < N; i++) {
        p2[i] = 0.5 + 0.5 * jitter(&dice);
        ev->before[i] = i < LAG ? EVIDENCE_NONE : i - LAG;
        ev->pitch_st[i] += 5 * jitter(&dice);
        ev->level_db[i] = 10 * jitter(&dice);
        for (int h = 0; h < HARMONICS; h++) {
            bool missing = jitter(&dice) > 0.8;
            ev->warp[i][h] = (float)evidence_warp((h + 1) * note_to_hz(ev->pitch_st[i]));
            ev->y_db[i][h] = missing ? NAN : (float)(20 * jitter(&dice));
            ev->var[i][h] = missing ? NAN : (float)(1 + jitter(&dice));
        }
    }
    for (int h = 0; h < HARMONICS; h++)
        m.sigma[h * HARMONICS + h] = 1 + h;
    for (int k = 0; k < MODEL_SIZE; k++)
        m.beta[k] = jitter(&dice);
    design *d = design_new(ev, &m);
    design_rows(d, rho, 1);
    design_set(d, p2, m.sigma);
    design_gradient(d, m.beta, false, g);
    for (int k = 0; k < MODEL_SIZE; k++) {
        model less = m, more = m;
        less.beta[k] -= step;
        more.beta[k] += step;
        double slope = (squares(&less, ev, p2, rho) - squares(&more, ev, p2, rho)) / (2 * step);
        greatest_slope = fmax(greatest_slope, fabs(slope));
        worst = fmax(worst, fabs(g[k] - slope));
    }
    print_message("gradient: worst error %.2g of the greatest\n", worst / greatest_slope);
    assert_true(worst < 1e-5 * greatest_slope);
    design_free(d);
    evidence_free(ev);
}

/* Made labels: M2 above the line 60 + 0.2 l. The prior (0 +- 0.1 on level) draws the slope towards
 * 0, since frames count as a hundredth; the line at the middle level has no such pull. */
static void test_place_finds_the_line(void **state)
{
    (void)state;
    enum { N = 4000 };
    evidence *ev = stretch(N);
    double *p2 = array_filled(N, 0);
    for (size_t i = 0; i < N; i++) {
        ev->pitch_st[i] = 50 + 20 * (double)(i % 97) / 96;
        ev->level_db[i] = -10 + 20 * (double)(i % 61) / 60;
        p2[i] = ev->pitch_st[i] > 60 + 0.2 * ev->level_db[i];
    }
    place p = place_fit(ev, p2, NULL);
    double line = p.mid - p.at / p.pitch, slope = p.level / p.pitch;
    print_message("place: line %.2f (60), slope %.3f (0.2)\n", line, slope);
    assert_true(fabs(line - 60) < 0.2 && slope > 0.05 && slope < 0.2);
    free(p2);
    evidence_free(ev);
}

static void decode(track *const *tracks, size_t n, flips *found, register_summary *summary)
{
    register_settings s = register_defaults();
    register_decode(tracks, n, &s, found, summary);
}

static void test_nothing_is_too_little(void **state)
{
    (void)state;
    register_summary summary;
    flips found = {.n = 0};
    decode(NULL, 0, NULL, &summary);
    assert_int_equal(summary.answer, REGISTER_TOO_LITTLE);
    track *t = track_new("quiet", 2000, 0.005, 0);
    decode(&t, 1, &found, &summary);
    assert_int_equal(summary.answer, REGISTER_TOO_LITTLE);
    for (size_t i = 0; i < t->n; i++) {
        t->pitch_st[i] = 60; /* voice without a harmonic to be had */
        t->level_db[i] = -30;
    }
    decode(&t, 1, &found, &summary);
    assert_int_not_equal(summary.answer, REGISTER_BOTH);
    assert_int_equal(found.n, 0);
    assert_true(t->reg[1000] == 0 && isnan(t->p_m2[1000]));
    track_free(t);
}

static const char folder[] = "build/test_register-takes";

static int sing(void **state)
{
    (void)state;
    const char *voice = getenv("TESTVOICE") ? getenv("TESTVOICE") : "build/testvoice";
    char *line = xformat("mkdir -p %s && %s family clear 7 %s", folder, voice, folder);
    int code = system(line);
    free(line);
    return code;
}

typedef struct singer {
    truth t;
    track **tracks;
    flips *found;
} singer;

static singer listen(void)
{
    singer s;
    err e = {""};
    if (!truth_read(folder, &s.t, &e))
        fail_msg("%s", e.text);
    s.tracks = xcalloc(s.t.n, sizeof *s.tracks);
    s.found = xcalloc(s.t.n, sizeof *s.found);
    voice_settings v = voice_defaults();
    for (size_t k = 0; k < s.t.n; k++) {
        char *path = xformat("%s/%s", folder, s.t.takes[k].name);
        if (!voice_listen(path, &v, &s.tracks[k], NULL, &e))
            fail_msg("%s", e.text);
        free(path);
    }
    return s;
}

static void singer_clear(singer *s)
{
    for (size_t k = 0; k < s->t.n; k++) {
        track_free(s->tracks[k]);
        flips_clear(&s->found[k]);
    }
    free(s->tracks);
    free(s->found);
    truth_clear(&s->t);
}

static size_t right_flips(const singer *s, size_t *sung)
{
    size_t right = 0;
    *sung = 0;
    for (size_t k = 0; k < s->t.n; k++) {
        *sung += s->t.takes[k].n_flips;
        for (size_t i = 0; i < s->t.takes[k].n_flips; i++)
            for (size_t j = 0; j < s->found[k].n; j++) {
                const flip *f = &s->found[k].items[j];
                const truth_flip *true_one = &s->t.takes[k].flips[i];
                right += f->direction == true_one->direction && f->confidence >= FLIP_ASSERTED &&
                         fabs(f->time_s - true_one->time_s) < 0.06;
            }
    }
    return right;
}

static void test_a_clear_voice_and_its_gain(void **state)
{
    (void)state;
    singer s = listen(), softer = listen();
    register_summary summary;
    for (size_t k = 0; k < softer.t.n; k++) { /* 6 dB less of everything */
        track *t = softer.tracks[k];
        for (size_t i = 0; i < t->n; i++)
            t->level_db[i] -= 6;
        for (size_t i = 0; i < t->n * TRACK_HARMONICS; i++) {
            t->harmonic_db[i] -= 6;
            t->noise_db[i] -= 6;
        }
    }
    decode(s.tracks, s.t.n, s.found, &summary);
    assert_int_equal(summary.answer, REGISTER_BOTH);
    size_t sung, right = right_flips(&s, &sung);
    print_message("clear voice: %zu of %zu flips\n", right, sung);
    assert_true(5 * right >= 4 * sung);
    decode(softer.tracks, softer.t.n, softer.found, &summary);
    for (size_t k = 0; k < s.t.n; k++) {
        assert_int_equal(s.found[k].n, softer.found[k].n);
        for (size_t i = 0; i < s.found[k].n; i++)
            assert_true(fabs(s.found[k].items[i].time_s - softer.found[k].items[i].time_s) < 1e-3);
    }
    singer_clear(&s);
    singer_clear(&softer);
}

static void test_a_declared_take_has_one_register(void **state)
{
    (void)state;
    singer s = listen();
    register_summary summary;
    s.tracks[0]->declared = DECLARED_M1;
    decode(s.tracks, s.t.n, s.found, &summary);
    assert_int_equal(s.found[0].n, 0);
    for (size_t i = 0; i < s.tracks[0]->n; i++)
        assert_int_equal(s.tracks[0]->reg[i], isnan(s.tracks[0]->pitch_st[i]) ? 0 : 1);
    singer_clear(&s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_chain_is_the_sum_of_all_paths),
        cmocka_unit_test(test_hazard_rises_with_leaps_and_ends_at_the_ends),
        cmocka_unit_test(test_some_worlds_have_to_stand_better),
        cmocka_unit_test(test_leaps_are_worth_what_the_singer_makes_of_them),
        cmocka_unit_test(test_a_step_is_found_where_it_is_and_its_way),
        cmocka_unit_test(test_the_gradient_is_the_slope_of_the_squares),
        cmocka_unit_test(test_place_finds_the_line),
        cmocka_unit_test(test_nothing_is_too_little),
        cmocka_unit_test(test_a_clear_voice_and_its_gain),
        cmocka_unit_test(test_a_declared_take_has_one_register),
    };
    return cmocka_run_group_tests(tests, sing, NULL);
}
