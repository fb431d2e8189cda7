/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Lessons split into takes. Oracle: made-up lessons (tests/voice/lesson.h) in which the times of
 * all takes are known: each is to be found with its edges within 0.3 s, and nothing else is. */
#include "base/array.h"
#include "voice/lesson.h"
#include "voice/split.h"

#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <unistd.h>

#include <cmocka.h>

enum { RATE = 24000 };

static split_take *split(const sound *x, size_t *n)
{
    char path[] = "build/test_split-XXXXXX";
    int fd = mkstemp(path);
    SF_INFO info = {
        .samplerate = x->rate_hz, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    SNDFILE *f = sf_open_fd(fd, SFM_WRITE, &info, SF_TRUE);
    assert_non_null(f);
    assert_int_equal(sf_writef_double(f, x->samples, (sf_count_t)x->n), x->n);
    sf_close(f);
    recording_settings s = recording_defaults();
    split_take *takes;
    err e = {""};
    if (!split_recording(path, &s, &takes, n, &e))
        fail_msg("%s", e.text);
    remove(path);
    return takes;
}

typedef struct tally {
    size_t takes, found, wrong;
    double edge_s;
} tally;

/* How far off the edges of the nearest of found[n] are. */
static double off(const split_take *found, size_t n, const lesson_take *t)
{
    double least = INFINITY;
    for (size_t i = 0; i < n; i++)
        least =
            fmin(least, fmax(fabs(found[i].start_s - t->start_s), fabs(found[i].end_s - t->end_s)));
    return least;
}

static void judge(int voice, const char *named, uint64_t seed, size_t takes, tally *t)
{
    lesson l = lesson_make(voice, named, seed, takes, 0, RATE, NULL);
    size_t n;
    split_take *found = split(&l.x, &n);
    for (size_t k = 0; k < l.n; k++) {
        double edge_s = off(found, n, &l.takes[k]);
        t->takes++;
        t->found += edge_s <= 0.3;
        if (edge_s <= 0.3)
            t->edge_s = fmax(t->edge_s, edge_s);
        else
            printf("%s %d, seed %d: %.2f-%.2f s was missed\n", named, voice, (int)seed,
                   l.takes[k].start_s, l.takes[k].end_s);
    }
    for (size_t i = 0; i < n; i++) {
        bool sung = false;
        for (size_t k = 0; k < l.n; k++)
            sung = sung ||
                   (found[i].start_s < l.takes[k].end_s && found[i].end_s > l.takes[k].start_s);
        t->wrong += !sung;
    }
    free(found);
    lesson_clear(&l);
}

static void test_lessons(void **state)
{
    (void)state;
    tally t = {0};
    judge(1, "clear", 11, 7, &t);
    judge(1, "consonants", 12, 6, &t);
    judge(2, "vibrato", 13, 7, &t);
    judge(2, "trill", 14, 6, &t);
    printf("%zu of %zu takes found, edges within %.2f s; %zu that are none\n", t.found, t.takes,
           t.edge_s, t.wrong);
    assert_true((double)t.found >= 0.95 * (double)t.takes);
    assert_int_equal(t.wrong, 0);
}

/* Gliding, swelling and held tones of closed form. */
static void add_tone(sound *x, double from_s, double to_s, double slide_st, double swell_db)
{
    double turn = 0;
    for (size_t i = (size_t)(from_s * RATE); i < (size_t)(to_s * RATE); i++) {
        double u = ((double)i / RATE - from_s) / (to_s - from_s), wave = 0;
        /* A vibrato of a third of a semitone, as a voice has and a string has not. */
        double st = slide_st * u + 0.3 * sin(2 * M_PI * 5.5 * (double)i / RATE);
        turn += 2 * M_PI * 220 * pow(2, st / 12) / RATE;
        for (int h = 1; h <= 6; h++)
            wave += sin(h * turn) / h;
        double db = swell_db * (1 - fabs(2 * u - 1)), edge = fmin(1, 20 * fmin(u, 1 - u));
        x->samples[i] += 0.02 * edge * pow(10, db / 20) * wave;
    }
}

static void test_kinds(void **state)
{
    (void)state;
    sound x = {.n = 20 * RATE, .rate_hz = RATE};
    x.samples = xcalloc(x.n, sizeof *x.samples);
    add_tone(&x, 2, 6, 9, 0);
    add_tone(&x, 8, 12, 0, 15);
    add_tone(&x, 14, 18, 0, 0);
    size_t n;
    split_take *found = split(&x, &n);
    assert_int_equal(n, 3);
    assert_int_equal(found[0].kind, SPLIT_SLIDE);
    assert_int_equal(found[1].kind, SPLIT_SWELL);
    assert_int_equal(found[2].kind, SPLIT_HOLD);
    for (size_t i = 0; i < 3; i++)
        assert_true(fabs(found[i].start_s - 2 - 6 * (double)i) < 0.3 &&
                    fabs(found[i].end_s - 6 - 6 * (double)i) < 0.3);
    free(found);
    sound_clear(&x);
}

static void test_nothing_sung(void **state)
{
    (void)state;
    for (size_t k = 0; k < 2; k++) {
        lesson l = lesson_make(1, "clear", 15 + k, 0, 0, RATE, NULL); /* talk alone */
        size_t n;
        free(split(&l.x, &n));
        assert_int_equal(n, 0);
        l.x.n = k ? 10 : 0; /* and hardly a sample */
        if (l.x.n) {
            free(split(&l.x, &n));
            assert_int_equal(n, 0);
        }
        lesson_clear(&l);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_kinds),
        cmocka_unit_test(test_nothing_sung),
        cmocka_unit_test(test_lessons),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
