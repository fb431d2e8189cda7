/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Trills of lips and tongue. Oracles: a tone whose level swings at a known rate and depth; trilled
 * takes of both test voices, whose pitch is known, beside the same takes with an open mouth. */
#include "base/array.h"
#include "base/note.h"
#include "voice/listen.h"
#include "voice/mouth.h"
#include "voice/perform.h"
#include "voice/sing.h"
#include "voice/trill.h"
#include "voice2/render.h"

#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include <cmocka.h>

enum { RATE = 16000, SECONDS = 4, FRAMES = 200 * SECONDS, CELL = RATE / 1000 };

/* A tone of 150 Hz whose level swings by so many dB to either side from 1 to 3 s. */
static signal swinging(double hz, double db)
{
    signal x = {.rate_hz = RATE, .n = RATE * SECONDS, .cell_s = 0.001, .n_cells = 1000 * SECONDS};
    x.x = xmalloc(x.n, sizeof *x.x);
    x.power = xcalloc(x.n_cells, sizeof *x.power);
    for (size_t i = 0; i < x.n; i++) {
        double t = (double)i / RATE, swing = t > 1 && t < 3 ? db * sin(2 * M_PI * hz * t) : 0;
        x.x[i] = (float)(0.1 * pow(10, swing / 20) * sin(2 * M_PI * 150 * t));
        x.power[i / CELL] += x.x[i] * x.x[i] / CELL;
    }
    return x;
}

static void test_what_is_a_trill(void **state)
{
    (void)state;
    for (double hz = 4; hz <= 60; hz *= 1.25) {
        unsigned char trilled[FRAMES];
        signal x = swinging(hz, 10);
        bool any = trill_find(&x, 0.005, FRAMES, trilled);
        size_t n = 0;
        for (size_t i = 0; i < FRAMES; i++)
            n += trilled[i];
        printf("swings of %.1f Hz: %.2f s are a trill\n", hz, (double)n * 0.005);
        assert_int_equal(any, n > 0);
        if (hz > 19 && hz < 30) /* 2 s and at most a window and what is beside them at either end */
            assert_true(n >= 390 && n <= 400 + 2 * (60 + 30));
        if (hz < 13 || hz > 45)
            assert_int_equal(n, 0);
        signal_clear(&x);
    }
    unsigned char trilled[FRAMES];
    signal x = swinging(25, 1);
    assert_false(trill_find(&x, 0.005, FRAMES, trilled)); /* 1 dB is within what voices do */
    signal_clear(&x);
    signal none = {.rate_hz = RATE, .cell_s = 0.001};
    assert_false(trill_find(&none, 0.005, 0, trilled));
}

/* What is left of the swings where they were found. */
static void test_flattened(void **state)
{
    (void)state;
    unsigned char trilled[FRAMES];
    signal x = swinging(25, 10);
    assert_true(trill_find(&x, 0.005, FRAMES, trilled));
    signal flat = trill_flatten(&x, 0.005, FRAMES, trilled);
    double lowest = INFINITY, highest = 0;
    for (size_t c = 1500; c < 2500; c += 20) { /* in three periods each */
        double power = 0;
        for (size_t i = 0; i < 20 * CELL; i++)
            power += (double)flat.x[c * CELL + i] * (double)flat.x[c * CELL + i];
        lowest = fmin(lowest, power);
        highest = fmax(highest, power);
    }
    double left_db = 10 * log10(highest / lowest);
    printf("of swings by 10 dB to either side %.1f dB are left in all\n", left_db);
    assert_true(left_db < 5);
    signal_clear(&flat);
    signal_clear(&x);
}

static track *hear(const double *samples, size_t n, int rate_hz)
{
    char path[] = "build/test_trill-XXXXXX";
    SF_INFO info = {
        .samplerate = rate_hz, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    SNDFILE *file = sf_open_fd(mkstemp(path), SFM_WRITE, &info, SF_TRUE);
    assert_non_null(file);
    assert_int_equal(sf_writef_double(file, samples, (sf_count_t)n), n);
    sf_close(file);
    voice_settings v = voice_defaults();
    track *t;
    err e = {""};
    if (!voice_listen(path, &v, &t, NULL, &e))
        fail_msg("%s", e.text);
    remove(path);
    return t;
}

/* Frames of one take or more. */
typedef struct tally {
    size_t sung, voiced, far, told; /* far: off by a semitone or more; told: with a harmonic */
} tally;

static void count(tally *c, const track *t, const double *pitch_st, const unsigned char *reg,
                  size_t n)
{
    for (size_t i = 0; i < t->n && 5 * i < n; i++) {
        if (!reg[5 * i])
            continue;
        c->sung++;
        c->voiced += !isnan(t->pitch_st[i]) ? 1 : 0;
        c->far += fabs(t->pitch_st[i] - pitch_st[5 * i]) >= 1;
        c->told += !isnan((double)t->harmonic_db[i * TRACK_HARMONICS]) ? 1 : 0;
    }
}

static const double from_st[] = {46, 50, 60};

static void first_voice(mouth m, int k, tally *c)
{
    static const family families[] = {FAMILY_CLEAR, FAMILY_VOWEL_U, FAMILY_VIBRATO};
    singer who = singer_draw(families[k], 31);
    score sc = {.kind = SCORE_SLIDE, .seconds = 4, .from_st = from_st[k], .to_st = from_st[k] + 8};
    sc.held = 1 + (k == 2);
    sc.level_db = sc.to_db = who.boundary.level_db;
    performance p = perform(&who, &sc, k);
    mouth_pitch(m, who.seed, k, p.pitch_st, p.n);
    sound x = sing(&who, &p, k);
    mouth_sound(m, who.seed, k, x.samples, x.n, x.rate_hz);
    sing_in_place(&who, &x, k);
    track *t = hear(x.samples, x.n, x.rate_hz);
    count(c, t, p.pitch_st, p.reg, p.n);
    track_free(t);
    sound_clear(&x);
    performance_clear(&p);
}

static void second_voice(mouth m, int k, tally *c)
{
    static const cast_family families[] = {CAST_CLEAR, CAST_VOWEL_O, CAST_VIBRATO};
    vocalist who = vocalist_draw(families[k], 32);
    chart sc = {.kind = CHART_SLIDE, .seconds = 4, .from_st = from_st[k], .to_st = from_st[k] + 8};
    sc.pinned = 1 + (k == 2);
    sc.from_db = sc.to_db = who.middle_db;
    act a = enact(&who, &sc, k);
    mouth_pitch(m, who.seed, k, a.pitch_st, a.n);
    clip x = render_clean(&who, &a, k);
    mouth_sound(m, who.seed, k, x.samples, x.n, x.rate_hz);
    render_place(&who, &x, k);
    track *t = hear(x.samples, x.n, x.rate_hz);
    count(c, t, a.pitch_st, a.reg, a.n);
    track_free(t);
    clip_clear(&x);
    act_clear(&a);
}

/* A fortieth of the frames are at the ends, where the voice is no trill yet. */
static void test_trilled_takes(void **state)
{
    (void)state;
    for (mouth m = MOUTH_OPEN; m < MOUTHS; m++) {
        tally c = {0};
        for (int k = 0; k < 3; k++) {
            first_voice(m, k, &c);
            second_voice(m, k, &c);
        }
        printf("%s: %zu frames, %.1f %% with a pitch, %.2f %% a semitone off, %.1f %% with "
               "harmonics\n",
               mouth_name(m), c.sung, 100 * (double)c.voiced / (double)c.sung,
               100 * (double)c.far / (double)c.sung, 100 * (double)c.told / (double)c.sung);
        bool trilled = m == MOUTH_LIPS || m == MOUTH_TONGUE;
        assert_true((double)c.voiced >= 0.95 * (double)c.sung);
        assert_true((double)c.far <= 0.02 * (double)c.sung);
        if (trilled)
            assert_true((double)c.told <= 0.05 * (double)c.sung);
        else
            assert_int_equal(c.told, c.voiced);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_what_is_a_trill),
        cmocka_unit_test(test_flattened),
        cmocka_unit_test(test_trilled_takes),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
