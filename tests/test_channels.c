/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Which channel is the microphone and which the EGG. Oracle: made signals and test voices, of which
 * it is known what they are; whatever the order of the channels, the rate and the gain, the answer
 * moves with them. */
#include "base/array.h"
#include "sound/channels.h"
#include "sound/recording.h"
#include "voice/truth.h"
#include "voice2/choir.h"

#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { SECONDS = 4, CHANNELS_MOST = 8 };
static const int rates[] = {8000, 11025, 16000, 22050, 44100, 48000, 96000, 192000};
enum { N_RATES = sizeof rates / sizeof *rates };

typedef enum kind { SILENCE, MICROPHONE, FAR, EGG, MUSIC, NOISE, NOISY_EGG, DULL } kind;

typedef struct voice { /* how it is sung */
    double lo_st, hi_st;
    double formants[3];
} voice;
static const voice man_a = {45, 62, {700, 1150, 2600}}, woman_e = {57, 74, {600, 2200, 2900}},
                   man_o = {48, 64, {450, 800, 2500}};

static double dice(uint32_t *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return *seed / 4294967296.0 - 0.5;
}

/* Two slides and back, with a breath between them. */
static double pitch_hz(const voice *v, double at_s)
{
    double part = fmod(at_s, SECONDS / 2.0) / (SECONDS / 2.0);
    double st = v->lo_st + (v->hi_st - v->lo_st) * (1 - fabs(2 * part - 1));
    return 440 * exp2((st - 69) / 12);
}

static double gate(double at_s)
{
    double part = fmod(at_s, SECONDS / 2.0);
    return part > 0.4 && part < SECONDS / 2.0 - 0.4 ? 1 : 0;
}

/* Amplitude of a formant series at a frequency, re that at 0. */
static double tract(const voice *v, double hz)
{
    double square = 1;
    for (int k = 0; k < 3; k++) {
        double r = hz / v->formants[k], b = 80 / v->formants[k], off = 1 - r * r;
        square *= off * off + b * r * b * r;
    }
    return 1 / sqrt(square);
}

/* -12 dB an octave of the source, +6 of radiation, formants; sin h p from its two predecessors. */
static double harmonics(const voice *v, double hz, double phase, int rate)
{
    double twice = 2 * cos(phase), before = 0, now = sin(phase), sum = 0;
    for (int h = 1; h <= 30 && h * hz < fmin(0.45 * rate, 5000); h++) {
        double next = twice * now - before;
        sum += 0.1 / h * tract(v, h * hz) * now;
        before = now;
        now = next;
    }
    return sum;
}

/* Contact of the vocal folds over a period: it comes quickly, stays, goes slowly. */
static double contact(double phase)
{
    double p = fmod(phase / (2 * M_PI), 1);
    double come = 0.5 + 0.5 * tanh((p - 0.2) / 0.035), go = 0.5 - 0.5 * tanh((p - 0.62) / 0.09);
    return come * go;
}

/* Microphone: harmonics and breath. A far one is duller, and hears the room. EGG: smooth pulses, no
 * formants, no room, the slow movement of the larynx, a little noise. */
static double *sing(const voice *v, kind what, int rate)
{
    size_t n = (size_t)(SECONDS * rate), late = (size_t)(0.023 * rate);
    double *x = xcalloc(n, sizeof *x), phase = 0, breath = 0;
    uint32_t seed = 5 + (uint32_t)what;
    for (size_t i = 0; i < n; i++) {
        double at = (double)i / rate, hz = pitch_hz(v, at);
        phase += 2 * M_PI * hz / rate;
        breath += 0.5 * (dice(&seed) - breath);
        x[i] = what == EGG
                   ? gate(at) * contact(phase) + 0.5 * sin(2 * M_PI * 1.3 * at) + 0.002 * breath
                   : gate(at) * harmonics(v, hz, phase, rate) + 0.004 * breath;
        if (what == FAR && i > late)
            x[i] = 0.5 * x[i] + 0.3 * x[i - 1] + 0.35 * x[i - late];
    }
    return x;
}

/* Chords of four struck notes, twice a second, over a beat. */
static double *play(int rate)
{
    static const double chord[4] = {-21, -14, -5, -1}, step[4] = {0, 5, 7, -2};
    size_t n = (size_t)(SECONDS * rate);
    double *x = xcalloc(n, sizeof *x);
    uint32_t seed = 9;
    for (size_t i = 0; i < n; i++) {
        double at = (double)i / rate, since = fmod(at, 0.5);
        int bar = (int)(at / 0.5) % 4;
        for (int k = 0; k < 4; k++) {
            double hz = 440 * exp2((chord[k] + step[bar]) / 12);
            for (int h = 1; h <= 6 && h * hz < 0.45 * rate; h++)
                x[i] += 0.1 / h * exp(-3 * since) * sin(2 * M_PI * h * hz * at);
        }
        x[i] += 0.3 * exp(-40 * since) * dice(&seed);
    }
    return x;
}

/* Noise as strong as the folds; a microphone behind a wall, 8 dB over noise. */
static double *spoil(const voice *v, kind what, int rate)
{
    size_t n = (size_t)(SECONDS * rate);
    double *x = sing(v, what == DULL ? MICROPHONE : EGG, rate), square = 0, low = 0;
    uint32_t seed = 11;
    for (size_t i = 0; i < n; i++) {
        double at = (double)i / rate;
        if (what == DULL)
            x[i] = low += 2 * M_PI * 400 / rate * (x[i] - low);
        double own = what == DULL ? x[i] : x[i] - 0.5 * sin(2 * M_PI * 1.3 * at) - 0.4 * gate(at);
        square += own * own * gate(at) * 1.25;
    }
    double sd = sqrt(square / (double)n * (what == DULL ? 0.16 : 1));
    for (size_t i = 0; i < n; i++)
        x[i] += sqrt(12) * sd * dice(&seed);
    return x;
}

static double *make(const voice *v, kind what, int rate)
{
    size_t n = (size_t)(SECONDS * rate);
    uint32_t seed = 3;
    if (what == MUSIC)
        return play(rate);
    if (what == NOISY_EGG || what == DULL)
        return spoil(v, what, rate);
    if (what != SILENCE && what != NOISE)
        return sing(v, what, rate);
    double *x = xcalloc(n, sizeof *x);
    for (size_t i = 0; what == NOISE && i < n; i++)
        x[i] = 0.1 * dice(&seed);
    return x;
}

typedef struct take { /* what is in each channel, at which gain (RMS, re the microphone's) */
    int n;
    kind what[CHANNELS_MOST];
    double gain_db[CHANNELS_MOST];
} take;

static float *interleave(const take *t, const voice *v, int rate)
{
    size_t n = (size_t)(SECONDS * rate), all = (size_t)t->n;
    float *frames = xcalloc(n * all, sizeof *frames);
    for (size_t k = 0; k < all; k++) {
        double *x = make(v, t->what[k], rate), square = 0;
        for (size_t i = 0; i < n; i++)
            square += x[i] * x[i];
        double gain = square > 0 ? 0.03 * sqrt((double)n / square) : 0;
        for (size_t i = 0; i < n; i++)
            frames[i * all + k] = (float)(gain * pow(10, t->gain_db[k] / 20) * x[i]);
        free(x);
    }
    return frames;
}

static void hear(const float *frames, int n, int rate, int named_egg, int *microphone, int *egg)
{
    channels *c = channels_new(rate, n);
    size_t look = (size_t)(CHANNELS_LOOK_S * rate);
    for (size_t i = 0; i + look <= (size_t)(SECONDS * rate); i += look) {
        channels_hear(c, frames + i * (size_t)n, look / 3);
        channels_hear(c, frames + (i + look / 3) * (size_t)n, look - look / 3);
        channels_end_look(c);
    }
    channels_choose(c, 0, named_egg, microphone, egg);
    channels_free(c);
}

/* The first two channels change places. */
static void swap_first_two(take *t, float *frames, int rate)
{
    kind what = t->what[0];
    double gain_db = t->gain_db[0];
    t->what[0] = t->what[1];
    t->gain_db[0] = t->gain_db[1];
    t->what[1] = what;
    t->gain_db[1] = gain_db;
    for (size_t i = 0; i < (size_t)(SECONDS * rate); i++) {
        float *f = frames + i * (size_t)t->n, first = f[0];
        f[0] = f[1];
        f[1] = first;
    }
}

static int find(const take *t, kind what)
{
    for (int k = 0; k < t->n; k++)
        if (t->what[k] == what)
            return k + 1;
    return 0;
}

static void check(take t, const voice *v, int rate)
{
    float *frames = interleave(&t, v, rate);
    for (int order = 0; order < 2; order++) {
        int microphone, egg;
        hear(frames, t.n, rate, 0, &microphone, &egg);
        if (microphone != find(&t, MICROPHONE) || egg != find(&t, EGG))
            fail_msg("%d Hz, %d %d ... at %g %g dB: microphone %d, EGG %d", rate, t.what[0],
                     t.what[1], t.gain_db[0], t.gain_db[1], microphone, egg);
        swap_first_two(&t, frames, rate);
    }
    free(frames);
}

static const take takes[] = {
    {2, {MICROPHONE, SILENCE}, {0}},
    {2, {MICROPHONE, EGG}, {0, 0}},
    {2, {MICROPHONE, EGG}, {0, 20}},
    {2, {MICROPHONE, EGG}, {0, -20}},
    {2, {MICROPHONE, FAR}, {0, -6}},
    {2, {MICROPHONE, MUSIC}, {0, -6}},
    {2, {MICROPHONE, MUSIC}, {0, 10}},
    {2, {MICROPHONE, NOISE}, {0, 6}},
    {3, {EGG, MICROPHONE, MUSIC}, {3, 0, 6}},
    {4, {EGG, MICROPHONE, SILENCE, FAR}, {10, 0, 0, -10}},
    {8,
     {SILENCE, MUSIC, NOISE, EGG, MICROPHONE, FAR, SILENCE, SILENCE},
     {0, 6, -3, 12, 0, -6, 0, 0}},
};
enum { TAKES = sizeof takes / sizeof *takes };

static void test_voices_in_any_company(void **state)
{
    (void)state;
    static const voice *const voices[] = {&man_a, &woman_e, &man_o};
    for (size_t v = 0; v < 3; v++)
        for (size_t k = 0; k < TAKES; k++)
            check(takes[k], voices[v], 16000);
}

/* An EGG under noise, which hides how smooth its spectrum is, and one that is not there but might
 * seem so, by noise. The voices slide past formants, as vowels would. */
static void test_noise(void **state)
{
    (void)state;
    static const voice *const voices[] = {&woman_e, &man_o};
    static const kind beside[] = {NOISY_EGG, DULL};
    for (size_t v = 0; v < 2; v++)
        for (int k = 0; k < 2; k++) {
            take t = {2, {MICROPHONE, beside[k]}, {0, 0}};
            float *frames = interleave(&t, voices[v], 16000);
            int microphone, egg;
            hear(frames, 2, 16000, 0, &microphone, &egg);
            print_message("voice %zu beside %s: EGG %d\n", v,
                          k ? "a dull microphone" : "a noisy EGG", egg);
            assert_int_equal(egg, k ? 0 : 2);
            free(frames);
        }
}

static void test_any_rate(void **state)
{
    (void)state;
    static const take both = {3, {EGG, MICROPHONE, MUSIC}, {20, 0, 6}};
    for (size_t r = 0; r < N_RATES; r++)
        check(both, &man_a, rates[r]);
}

/* What is named is never guessed away; nothing but silence gives the first channel that is free. */
static void test_named_and_silent(void **state)
{
    (void)state;
    int microphone, egg;
    take t = {3, {EGG, MICROPHONE, FAR}, {10, 0, -6}};
    float *frames = interleave(&t, &man_a, 16000);
    hear(frames, 3, 16000, 2, &microphone, &egg);
    assert_int_equal(egg, 2);
    assert_int_not_equal(microphone, 2);
    free(frames);
    frames = xcalloc((size_t)SECONDS * 16000 * 2, sizeof *frames);
    hear(frames, 2, 16000, 0, &microphone, &egg);
    assert_true(microphone == 1 && egg == 0);
    hear(frames, 2, 16000, 1, &microphone, &egg);
    assert_true(microphone == 2 && egg == 1);
    channels *c = channels_new(48000, 2);
    channels_end_look(c);
    channels_choose(c, 0, 0, &microphone, &egg);
    assert_true(microphone == 1 && egg == 0);
    channels_free(c);
    free(frames);
}

/* A file with both: the microphone's samples come out, untouched by the EGG's. */
static void test_recording(void **state)
{
    (void)state;
    enum { RATE = 44100, N = SECONDS * RATE };
    static const char path[] = "build/test_channels.wav";
    take t = {2, {EGG, MICROPHONE}, {12, 0}};
    float *frames = interleave(&t, &man_a, RATE), block[1000];
    SF_INFO info = {.samplerate = RATE, .channels = 2, .format = SF_FORMAT_WAV | SF_FORMAT_FLOAT};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    assert_non_null(f);
    assert_int_equal(sf_writef_float(f, frames, N), N);
    assert_int_equal(sf_close(f), 0);
    recording_settings s = recording_defaults();
    recording *r = NULL;
    err e = {""};
    size_t got, n = 0;
    assert_true(recording_open(path, &s, &r, &e));
    assert_int_equal(recording_channel(r), 2);
    assert_int_equal(recording_egg(r), 1);
    while (recording_read(r, block, 1000, &got, &e) && got)
        for (size_t i = 0; i < got; i++, n++)
            assert_true(block[i] == frames[2 * n + 1]);
    assert_int_equal(n, N);
    recording_close(r);
    s.channel = 1;
    assert_true(recording_open(path, &s, &r, &e));
    assert_true(recording_channel(r) == 1 && recording_egg(r) != 1);
    recording_close(r);
    remove(path);
    free(frames);
}

/* Singers of the test voices: how many of their takes have their EGG found, and none the other way
 * about. */
static void sung(int who, const char *family, uint64_t seed, size_t *n, size_t *found)
{
    char *folder = NULL;
    err e = {""};
    truth t;
    assert_true(choir_render_egg(who, choir_by_name(who, family), seed, "build/test_channels-takes",
                                 &folder, &e));
    assert_true(truth_read(folder, &t, &e));
    for (size_t k = 0; k < t.n; k++) {
        recording_settings s = recording_defaults();
        recording *r;
        char *name = xformat("%s/%s", folder, t.takes[k].name);
        assert_true(recording_open(name, &s, &r, &e));
        assert_true(recording_egg(r) == 0 || recording_egg(r) == t.egg_channel);
        *found += recording_egg(r) > 0;
        ++*n;
        recording_close(r);
        free(name);
    }
    truth_clear(&t);
    free(folder);
}

static void test_singers(void **state)
{
    (void)state;
    size_t n = 0, found = 0;
    sung(1, "vowel-u", 31, &n, &found);
    sung(1, "smooth", 31, &n, &found);
    sung(2, "yodel", 31, &n, &found);
    sung(2, "speech", 31, &n, &found);
    print_message("the EGG is found in %zu of %zu takes\n", found, n);
    assert_true(n >= 32 && 10 * found >= 8 * n);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_voices_in_any_company),
        cmocka_unit_test(test_noise),
        cmocka_unit_test(test_any_rate),
        cmocka_unit_test(test_named_and_silent),
        cmocka_unit_test(test_recording),
        cmocka_unit_test(test_singers),
    };
    return cmocka_run_group_tests_name("channels", tests, NULL, NULL);
}
