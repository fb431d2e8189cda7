/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A take heard in blocks is the take heard whole, wherever the cuts fall. Oracles: the same sound
 * heard as one block; sorting, for the level of the loud parts. */
#include "base/array.h"
#include "voice/listen.h"
#include "voice/loudness.h"
#include "voice/measures.h"

#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

enum { RATE = 24000 };
static const char path[] = "build/test_blocks.wav";

typedef struct sound {
    double *x;
    size_t n, room;
} sound;

static double dice(uint32_t *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return *seed / 4294967296.0;
}

static void append(sound *s, double x)
{
    array_reserve((void **)&s->x, &s->room, s->n + 1, sizeof *s->x);
    s->x[s->n++] = x;
}

/* Breath of -70 dB re full scale: what a quiet room leaves. */
static void breathe(sound *s, double seconds, uint32_t *seed)
{
    for (size_t i = 0; i < (size_t)(seconds * RATE); i++)
        append(s, 1e-3 * (dice(seed) - 0.5));
}

/* A voice that slides, trembles and leaps, with breath in it; the leaps are of a fourth to an
 * octave, and the sound is over after `seconds` without a break. */
static void phrase(sound *s, double seconds, double amplitude, uint32_t *seed)
{
    double phase = 0, st = 52 + 12 * dice(seed), slope = 6 * (dice(seed) - 0.5), until = 0;
    size_t n = (size_t)(seconds * RATE);
    for (size_t i = 0; i < n; i++) {
        double at = (double)i / RATE, now;
        if (at > until) {
            until = at + 1 + 3 * dice(seed);
            slope = 6 * (dice(seed) - 0.5);
            st += (st > 62 ? -1 : 1) * (5 + 7 * dice(seed));
        }
        st = fmax(45, fmin(st + slope / RATE, 76));
        now = st + 0.5 * sin(2 * M_PI * 5.5 * at);
        double hz = 440 * exp2((now - 69) / 12), sum = 0;
        phase += 2 * M_PI * hz / RATE;
        for (int h = 1; h <= 20 && h * hz < 6000; h++)
            sum += sin(h * phase) / h / (1 + pow((h * hz - 700) / 400, 2));
        double swell = fmin(1, fmin(at, seconds - at) / 0.05);
        append(s, amplitude * (swell * sum + 0.01 * (dice(seed) - 0.5)));
    }
}

/* Two minutes with unbroken voice, short and long pauses, and a passage so soft beside the rest
 * that it is no voice, which a block of its own could not know. */
static void record(void)
{
    sound s = {.n = 0};
    uint32_t seed = 11;
    breathe(&s, 0.7, &seed);
    phrase(&s, 14, 2e-4, &seed);
    for (int k = 0; k < 9; k++) {
        breathe(&s, k % 3 == 2 ? 5.3 : 0.1 + 0.4 * k, &seed);
        phrase(&s, k == 4 ? 37 : 1.2 + 0.9 * k, 0.2, &seed);
    }
    SF_INFO info = {.samplerate = RATE, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    assert_non_null(f);
    assert_int_equal(sf_writef_double(f, s.x, (sf_count_t)s.n), s.n);
    assert_int_equal(sf_close(f), 0);
    free(s.x);
}

static track *hear(double block_s, voice_whole *whole)
{
    voice_settings s = voice_defaults();
    s.block_s = block_s;
    s.measures = true;
    track *t = NULL;
    err e = {""};
    if (!voice_check(&s, &e) || !voice_listen(path, &s, &t, whole, &e))
        fail_msg("%s", e.text);
    return t;
}

typedef struct worst {
    double cents, level_db, harmonic_db, voicing, measure, weighted_db;
    size_t voicing_differs;
} worst;

static void compare_harmonics(const track *a, const track *b, size_t i, worst *w)
{
    for (size_t h = 0; h < TRACK_HARMONICS; h++) {
        double x = (double)a->harmonic_db[i * TRACK_HARMONICS + h];
        double y = (double)b->harmonic_db[i * TRACK_HARMONICS + h];
        double noise = (double)a->noise_db[i * TRACK_HARMONICS + h];
        assert_int_equal(isnan(x), isnan(y));
        if (x > noise + 3 && x > -100) /* what the registers are told from */
            w->harmonic_db = fmax(w->harmonic_db, fabs(x - y));
    }
}

/* Without slopes: a harmonic on the brink of drowning may count in one of them alone. */
static void compare_measures(const track *a, const track *b, size_t i, worst *w)
{
    static const measure plain[] = {MEASURE_H1_H2, MEASURE_BALANCE, MEASURE_HNR};
    for (size_t k = 0; k < 3; k++) {
        double x = (double)a->measures->value[i * MEASURES + (size_t)plain[k]];
        double y = (double)b->measures->value[i * MEASURES + (size_t)plain[k]];
        if (!isnan(x) && !isnan(y) && a->level_db[i] > -60)
            w->measure = fmax(w->measure, fabs(x - y));
    }
}

static void compare_weighted(const track *a, const track *b, size_t i, worst *w)
{
    for (size_t k = MEASURE_LAF; k <= MEASURE_LZS && i > 0; k++)
        w->weighted_db = fmax(w->weighted_db, fabs((double)(a->measures->value[i * MEASURES + k] -
                                                            b->measures->value[i * MEASURES + k])));
}

/* But for harmonics and fine pitch in the first 60 ms of voice after 4 s without one: there the
 * heterodyne goes by the pitch held from before, which a block that begins between has not. */
static worst compare(const track *a, const track *b)
{
    enum { FIRST = 12, LONG = 800 };
    worst w = {.cents = 0};
    size_t silent = 0, sung = 0;
    assert_int_equal(a->n, b->n);
    for (size_t i = 0; i < a->n; i++) {
        assert_true(a->time_s[i] == b->time_s[i]);
        if (isfinite(a->level_db[i]) || isfinite(b->level_db[i]))
            w.level_db = fmax(w.level_db, fabs(a->level_db[i] - b->level_db[i]));
        compare_weighted(a, b, i, &w);
        bool voiced = !isnan(a->pitch_st[i]);
        if (voiced != !isnan(b->pitch_st[i])) {
            w.voicing_differs++;
            continue;
        }
        w.voicing = fmax(w.voicing, fabs(a->voicing[i] - b->voicing[i]));
        silent = voiced ? silent : sung ? 1 : silent + 1;
        sung = voiced ? sung + 1 : 0;
        if (voiced && (silent < LONG || sung > FIRST)) {
            w.cents = fmax(w.cents, 100 * fabs(a->pitch_st[i] - b->pitch_st[i]));
            compare_harmonics(a, b, i, &w);
            compare_measures(a, b, i, &w);
        }
    }
    return w;
}

/* Blocks of 10 to 29 s put some 40 borders into two minutes: into unbroken voice, into leaps, into
 * pauses. The working rate's samples are the same; the low band and the phases begin elsewhere, so
 * that numbers differ by the rounding of floats. */
static void test_blocks_are_the_whole(void **state)
{
    (void)state;
    static const double blocks_s[] = {10, 11, 13, 17, 29};
    voice_whole whole, blocks;
    track *a = hear(3600, &whole);
    print_message("%.1f s, voiced %.1f s\n", (double)a->n * a->hop_s, voice_seconds(a));
    assert_true(voice_seconds(a) > 60);
    assert_true(isnan(a->pitch_st[1000]));
    for (size_t k = 0; k < sizeof blocks_s / sizeof *blocks_s; k++) {
        track *b = hear(blocks_s[k], &blocks);
        worst w = compare(a, b);
        print_message("blocks of %.0f s: %.4f cents, %.4f dB of harmonics, %.4f dB of measures, "
                      "%zu frames voiced in one alone\n",
                      blocks_s[k], w.cents, w.harmonic_db, w.measure, w.voicing_differs);
        assert_true(w.weighted_db <= 0);
        assert_true(w.measure < 0.05);
        assert_true(w.level_db <= 0);
        assert_int_equal(w.voicing_differs, 0);
        assert_true(w.cents < 0.1);
        assert_true(w.harmonic_db < 0.02);
        assert_true(w.voicing < 0.001);
        assert_int_equal(whole.counts.samples, blocks.counts.samples);
        assert_memory_equal(whole.counts.sound, blocks.counts.sound, sizeof whole.counts.sound);
        assert_memory_equal(&whole.levels, &blocks.levels, sizeof whole.levels);
        track_free(b);
    }
    track_free(a);
}

typedef struct pieces {
    size_t n, frames, most;
} pieces;

static bool count_piece(void *context, const track *piece, err *e)
{
    pieces *p = context;
    assert_true(piece->n > 0);
    for (size_t i = 0; i < piece->n; i++)
        assert_true(piece->time_s[i] == (double)(p->frames + i) * 0.005);
    p->frames += piece->n;
    p->n++;
    return p->n < p->most || err_set(e, "Enough.");
}

static void test_pieces_come_in_order(void **state)
{
    (void)state;
    voice_settings s = voice_defaults();
    s.block_s = 10;
    err e = {""};
    pieces all = {.most = 1000}, two = {.most = 2};
    voice_whole whole;
    assert_true(voice_listen_pieces(path, &s, count_piece, &all, &whole, &e));
    assert_true(all.n >= 10);
    assert_int_equal(all.frames, (size_t)(whole.counts.seconds / 0.005) + 1);
    assert_false(voice_listen_pieces(path, &s, count_piece, &two, NULL, &e));
    assert_string_equal(e.text, "Enough.");
    assert_int_equal(two.n, 2);
}

static void test_settings(void **state)
{
    (void)state;
    voice_settings s = voice_defaults();
    err e = {""};
    s.hop_s = 0.003;
    assert_false(voice_check(&s, &e));
    s.hop_s = 0.004;
    assert_true(voice_check(&s, &e));
    s.block_s = 10.5;
    assert_false(voice_check(&s, &e));
    s.block_s = 9;
    assert_false(voice_check(&s, &e));
}

static int by_size(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

static void test_loudness_is_the_order(void **state)
{
    (void)state;
    enum { N = 5000 };
    double *x = xmalloc(N, sizeof *x), off = 0;
    uint32_t seed = 3;
    for (int i = 0; i < N; i++)
        x[i] = i % 10 ? -120 * dice(&seed) : -(double)INFINITY;
    loudness *l = loudness_new();
    assert_true(isnan(loudness_of(l, 0.5)));
    loudness_add(l, x, 1234);
    loudness_add(l, x + 1234, N - 1234);
    qsort(x, N, sizeof *x, by_size);
    for (int k = 0; k <= 20; k++) {
        double want = x[(size_t)(k / 20.0 * (N - 1))], got = loudness_of(l, k / 20.0);
        off = isinf(want) && isinf(got) ? off : fmax(off, fabs(want - got));
    }
    print_message("loudness: worst %.4f dB\n", off);
    assert_true(off <= 0.0051);
    loudness_free(l);
    free(x);
}

static int set_up(void **state)
{
    (void)state;
    record();
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    return remove(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_blocks_are_the_whole),
        cmocka_unit_test(test_pieces_come_in_order),
        cmocka_unit_test(test_settings),
        cmocka_unit_test(test_loudness_is_the_order),
    };
    return cmocka_run_group_tests_name("blocks", tests, set_up, tear_down);
}
