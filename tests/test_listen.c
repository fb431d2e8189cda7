/* SPDX-License-Identifier: GPL-3.0-or-later */
/* From a recording to a track. Oracles: the closed forms of tones of known pitch, level and
 * harmonics; gain moves the level alone; silence and too little sound hold no voice. */
#include "base/array.h"
#include "base/note.h"
#include "voice/listen.h"

#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include <cmocka.h>

static track *hear(const double *x, size_t n, int rate, double full_scale_db, double distance_cm)
{
    static const char path[] = "build/test_listen.wav";
    SF_INFO info = {.samplerate = rate, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_FLOAT};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    assert_non_null(f);
    assert_int_equal(sf_writef_double(f, x, (sf_count_t)n), n);
    sf_close(f);
    voice_settings s = voice_defaults();
    s.full_scale_db = full_scale_db;
    s.distance_cm = distance_cm;
    track *t = NULL;
    err e = {""};
    if (!voice_listen(path, &s, &t, NULL, &e))
        fail_msg("%s", e.text);
    remove(path);
    return t;
}

/* Harmonics below 0.4 of the rate, 6 dB an octave down. */
static double *tone(size_t n, int rate, double hz, double amplitude)
{
    double *x = xcalloc(n, sizeof *x);
    for (int h = 1; h <= 16 && h * hz < fmin(6000, 0.4 * rate); h++)
        for (size_t i = 0; i < n; i++)
            x[i] += amplitude / h * sin(2 * M_PI * h * hz * (double)i / rate);
    return x;
}

/* Two cents: a tenth of what a trained ear tells apart. Ends of 100 ms are left out. */
static void test_pitch_at_any_rate(void **state)
{
    (void)state;
    static const double f0[] = {58, 110, 220, 441.3, 880, 1400};
    static const int rates[] = {8000, 16000, 44100, 48000, 96000};
    double worst = 0;
    for (size_t k = 0; k < 5; k++)
        for (size_t p = 0; p < 6; p++) {
            size_t n = (size_t)rates[k] / 2;
            double *x = tone(n, rates[k], f0[p], 0.2);
            track *t = hear(x, n, rates[k], (double)NAN, 30);
            for (size_t i = 20; i + 20 < t->n; i++) {
                double off = 100 * fabs(t->pitch_st[i] - note_from_hz(f0[p]));
                worst = isnan(off) ? (double)INFINITY : fmax(worst, off);
            }
            track_free(t);
            free(x);
        }
    print_message("pitch: worst %.3f cents\n", worst);
    assert_true(worst < 2);
}

/* A sine of amplitude A has the level 20 log10(A / sqrt 2); calibration adds the full scale and
 * 20 log10(d / 30). The high-pass at 10 Hz takes 0.01 dB. */
static void test_level(void **state)
{
    (void)state;
    enum { RATE = 48000, N = RATE / 2 };
    double *x = xmalloc(N, sizeof *x);
    for (int i = 0; i < N; i++)
        x[i] = 0.25 * sin(2 * M_PI * 440 * i / RATE);
    track *t = hear(x, N, RATE, (double)NAN, 30), *c = hear(x, N, RATE, 110, 60);
    double want = 20 * log10(0.25 / sqrt(2)), worst = 0;
    for (size_t i = 20; i + 20 < t->n; i++) {
        worst = fmax(worst, fabs(t->level_db[i] - want));
        assert_true(fabs(c->level_db[i] - t->level_db[i] - 110 - 20 * log10(2)) < 1e-9);
    }
    print_message("level: worst %.4f dB\n", worst);
    assert_true(worst < 0.05);
    track_free(t);
    track_free(c);
    free(x);
}

/* A quarter of the amplitude is -12.04 dB, exactly so in floats, and nothing else moves. */
static void test_gain(void **state)
{
    (void)state;
    enum { RATE = 16000, N = RATE / 2 };
    double *x = tone(N, RATE, 196, 0.4), *y = tone(N, RATE, 196, 0.1);
    track *a = hear(x, N, RATE, (double)NAN, 30), *b = hear(y, N, RATE, (double)NAN, 30);
    for (size_t i = 20; i + 20 < a->n; i++) {
        assert_true(fabs(a->level_db[i] - b->level_db[i] - 20 * log10(4)) < 1e-4);
        assert_true(fabs(a->pitch_st[i] - b->pitch_st[i]) < 1e-4);
        for (int h = 0; h < 16; h++) {
            double want = 20 * log10(0.4 / (h + 1) / sqrt(2));
            assert_true(fabs((double)a->harmonic_db[i * TRACK_HARMONICS + (size_t)h] - want) < 0.2);
            assert_true((double)a->noise_db[i * TRACK_HARMONICS + (size_t)h] < want - 30);
        }
    }
    track_free(a);
    track_free(b);
    free(x);
    free(y);
}

/* A leap of an octave at 0.5 s is followed without an error of an octave, half-way within 5 ms. */
static void test_leap(void **state)
{
    (void)state;
    enum { RATE = 44100, N = RATE };
    double *x = xcalloc(N, sizeof *x), phase = 0;
    for (int i = 0; i < N; i++) {
        phase += 2 * M_PI * (i < N / 2 ? 220 : 440) / RATE;
        for (int h = 1; h <= 10; h++)
            x[i] += 0.1 / h * sin(h * phase);
    }
    track *t = hear(x, N, RATE, (double)NAN, 30);
    double crossed = (double)NAN;
    for (size_t i = 20; i + 20 < t->n; i++) {
        if (isnan(crossed) && t->pitch_st[i] > 63)
            crossed = t->time_s[i] - 0.0025;
        if (fabs(t->time_s[i] - 0.5) > 0.03)
            assert_true(fabs(t->pitch_st[i] - (t->time_s[i] < 0.5 ? 57 : 69)) < 0.1);
    }
    print_message("leap: crossed at %.4f s\n", crossed);
    assert_true(fabs(crossed - 0.5) <= 0.005);
    track_free(t);
    free(x);
}

static void test_no_voice(void **state)
{
    (void)state;
    enum { RATE = 16000 };
    double *x = xcalloc(RATE, sizeof *x);
    track *t = hear(x, RATE, RATE, (double)NAN, 30);
    assert_true(t->n > 0 && voice_seconds(t) <= 0 && isinf(t->level_db[t->n / 2]));
    track_free(t);
    uint32_t seed = 7;
    for (int i = 0; i < RATE; i++) {
        seed = seed * 1664525u + 1013904223u;
        x[i] = 0.2 * (seed / 4294967296.0 - 0.5);
    }
    t = hear(x, RATE, RATE, (double)NAN, 30);
    print_message("noise: %.3f s of voice in 1 s\n", voice_seconds(t));
    assert_true(voice_seconds(t) < 0.02);
    track_free(t);
    t = hear(x, RATE * 3 / 100, RATE, (double)NAN, 30);
    assert_int_equal(t->n, 0);
    track_free(t);
    free(x);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_pitch_at_any_rate),
        cmocka_unit_test(test_level),
        cmocka_unit_test(test_gain),
        cmocka_unit_test(test_leap),
        cmocka_unit_test(test_no_voice),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
