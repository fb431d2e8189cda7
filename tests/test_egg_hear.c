/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The pitch of the folds by an EGG, and what it does for that of the microphone. Oracle: contact
 * pulses and sounds of closed form, whose pitch is laid down; hum and noise, which are no voice. */
#include "base/array.h"
#include "base/note.h"
#include "voice/egg_hear.h"

#include <gsl/gsl_randist.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#include <cmocka.h>

enum { RATE = 16000, SECONDS = 3, SAMPLES = RATE * SECONDS, FRAMES = 200 * SECONDS };
#define HOP_S 0.005

static gsl_rng *noise_new(unsigned long seed) /* gsl_rng_free */
{
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r, seed);
    return r;
}

/* Raised cosines: 0.1 of the period up, 0.3 down. */
static double touch(double phase)
{
    double at = phase - floor(phase);
    return at < 0.1   ? 0.5 - 0.5 * cos(M_PI * at / 0.1)
           : at < 0.4 ? 0.5 + 0.5 * cos(M_PI * (at - 0.1) / 0.3)
                      : 0;
}

static double *hear_folds(const float *x)
{
    companion *b;
    err e;
    pitch_settings s = pitch_defaults();
    assert_true(companion_new(RATE, &b, &e));
    assert_true(companion_add(b, x, SAMPLES, &e) && companion_add(b, NULL, 0, &e));
    double *st = egg_hear_pitch(b, HOP_S, FRAMES, &s);
    companion_free(b);
    return st;
}

/* A slide of an octave, the larynx moving the baseline by six times the contact; noise 20 dB
 * under it. Then noise alone. */
static void test_folds(void **state)
{
    (void)state;
    float *x = xmalloc(SAMPLES, sizeof *x);
    gsl_rng *r = noise_new(7);
    double phase = 0, worst = 0;
    for (size_t i = 0; i < SAMPLES; i++) {
        double at = (double)i / RATE;
        phase += 120 * exp2(at / SECONDS) / RATE;
        x[i] =
            (float)(0.1 * touch(phase) + 0.6 * sin(2 * M_PI * 3 * at) + gsl_ran_gaussian(r, 0.003));
    }
    double *st = hear_folds(x);
    size_t known = 0;
    for (size_t f = 4; f < FRAMES - 4; f++)
        if (!isnan(st[f])) {
            double want = note_from_hz(120 * exp2((double)f * HOP_S / SECONDS));
            worst = fmax(worst, fabs(st[f] - want));
            known++;
        }
    print_message("folds: known in %zu of %d frames, at most %.3f semitones off\n", known,
                  FRAMES - 8, worst);
    assert_true(known > FRAMES * 95 / 100 &&
                worst < 0.2); /* coarse: the microphone makes it fine */
    free(st);
    for (size_t i = 0; i < SAMPLES; i++)
        x[i] = (float)(gsl_ran_gaussian(r, 0.003));
    st = hear_folds(x);
    for (size_t f = 0; f < FRAMES; f++)
        assert_true(isnan(st[f]));
    free(st);
    gsl_rng_free(r);
    free(x);
    assert_null(egg_hear_pitch(NULL, HOP_S, FRAMES, &(pitch_settings){0}));
}

/* Frames with a pitch near hz, and with any, from frame `from` on. */
static size_t hear(const float *x, const double *folds_st, double hz, size_t from, size_t *any)
{
    double *st = xmalloc(FRAMES, sizeof *st), *voicing = xmalloc(FRAMES, sizeof *voicing);
    double *level_db = xmalloc(FRAMES, sizeof *level_db);
    unsigned char *doubled = xmalloc(FRAMES, sizeof *doubled);
    signal s = {.rate_hz = RATE, .n = SAMPLES, .x = (float *)x};
    pitch_settings settings = pitch_defaults();
    settings.opt_folds_st = folds_st;
    for (size_t f = 0; f < FRAMES; f++) {
        double power = 1e-12;
        for (size_t i = f * RATE / 200; i < (f + 1) * RATE / 200; i++)
            power += (double)x[i] * (double)x[i] * 200 / RATE;
        level_db[f] = 10 * log10(power);
    }
    pitch_track(&s, HOP_S, FRAMES, level_db, &settings, st, voicing, doubled);
    size_t near = 0;
    *any = 0;
    for (size_t f = from; f < FRAMES; f++) {
        near += fabs(st[f] - note_from_hz(hz)) < 0.5 ? 1 : 0;
        *any += isnan(st[f]) ? 0 : 1;
    }
    free(st);
    free(voicing);
    free(level_db);
    free(doubled);
    return near;
}

/* A formant carries all but a little of the sound: the microphone takes it for the voice. */
static void test_formant(void **state)
{
    (void)state;
    float *x = xmalloc(SAMPLES, sizeof *x), *contact = xmalloc(SAMPLES, sizeof *contact);
    gsl_rng *r = noise_new(3);
    size_t any;
    for (size_t i = 0; i < SAMPLES; i++) {
        double at = (double)i / RATE, sum = 0;
        for (int h = 1; h <= 10; h++)
            sum += (h == 5 ? 1 : 0.02) * sin(2 * M_PI * 130 * h * at + h * h);
        x[i] = (float)(0.1 * sum + gsl_ran_gaussian(r, 0.0005));
        contact[i] = (float)(0.1 * touch(130 * at) + gsl_ran_gaussian(r, 0.003));
    }
    double *folds_st = hear_folds(contact);
    size_t alone = hear(x, NULL, 130, 0, &any), with = hear(x, folds_st, 130, 0, &any);
    print_message("a formant: %zu frames right by the microphone alone, %zu with the folds\n",
                  alone, with);
    assert_true(alone < FRAMES / 10 && with > FRAMES * 95 / 100);
    free(folds_st);
    gsl_rng_free(r);
    free(x);
    free(contact);
}

/* Every second period differs, in contact by two fifths, so that the EGG repeats at 100 Hz: the
 * sound's octave stays what the microphone makes of it. */
static void test_doubling(void **state)
{
    (void)state;
    float *x = xmalloc(SAMPLES, sizeof *x), *contact = xmalloc(SAMPLES, sizeof *contact);
    gsl_rng *r = noise_new(9);
    size_t any, low = 0;
    for (size_t i = 0; i < SAMPLES; i++) {
        double at = (double)i / RATE, sum = 0.02 * sin(2 * M_PI * 100 * at);
        bool second = fmod(200 * at, 2) >= 1;
        for (int h = 1; h <= 10; h++)
            sum += sin(2 * M_PI * 200 * h * at + h * h) / h;
        x[i] = (float)(0.1 * sum + gsl_ran_gaussian(r, 0.0005));
        contact[i] = (float)((second ? 0.06 : 0.1) * touch(200 * at) + gsl_ran_gaussian(r, 0.001));
    }
    double *folds_st = hear_folds(contact);
    for (size_t f = 0; f < FRAMES; f++)
        low += fabs(folds_st[f] - note_from_hz(100)) < 0.5 ? 1 : 0;
    size_t alone = hear(x, NULL, 200, 0, &any), with = hear(x, folds_st, 200, 0, &any);
    print_message("doubling: the EGG an octave lower in %zu frames; %zu frames right, %zu by the "
                  "microphone alone\n",
                  low, with, alone);
    assert_true(low > FRAMES * 9 / 10 && with >= alone && with > FRAMES * 95 / 100);
    free(folds_st);
    gsl_rng_free(r);
    free(x);
    free(contact);
}

/* Hum in the EGG, 100 Hz, and a voice of 200 Hz for a second, then noise 35 dB under it: that is
 * no voice. */
static void test_hum(void **state)
{
    (void)state;
    enum { END = RATE, AFTER = 220 };
    float *x = xmalloc(SAMPLES, sizeof *x), *hum = xmalloc(SAMPLES, sizeof *hum);
    gsl_rng *r = noise_new(5);
    size_t any, alone;
    for (size_t i = 0; i < SAMPLES; i++) {
        double at = (double)i / RATE, sum = 0;
        for (int h = 1; h <= 10 && i < END; h++)
            sum += sin(2 * M_PI * 200 * h * at + h * h) / h;
        x[i] = (float)(0.1 * sum + gsl_ran_gaussian(r, 0.0015));
        hum[i] = (float)(0.02 * sin(2 * M_PI * 100 * at) + (i < END ? 0.1 * touch(200 * at) : 0));
    }
    double *folds_st = hear_folds(hum);
    size_t plain = 0;
    for (size_t f = AFTER; f < FRAMES; f++)
        plain += fabs(folds_st[f] - note_from_hz(100)) < 0.5 ? 1 : 0;
    assert_true(plain > (FRAMES - AFTER) * 9 / 10); /* the EGG does repeat */
    hear(x, NULL, 100, AFTER, &alone);
    hear(x, folds_st, 100, AFTER, &any);
    print_message("hum: voice in %zu frames of noise, %zu by the microphone alone\n", any, alone);
    assert_true(any <= alone);
    free(folds_st);
    gsl_rng_free(r);
    free(x);
    free(hum);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_folds),
        cmocka_unit_test(test_formant),
        cmocka_unit_test(test_doubling),
        cmocka_unit_test(test_hum),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
