/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Frames outside memory, and registers told in parts. Oracles: what was put in comes back bit for
 * bit; the same takes decoded together. */
#include "base/array.h"
#include "base/spool.h"
#include "register/explain.h"
#include "register/parts.h"
#include "voice/listen.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static double dice(uint32_t *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return *seed / 4294967296.0;
}

/* Bytes in any order, on both sides of the 4 MB that stay in memory and over their border; what was
 * not written is 0. */
static void test_spool(void **state)
{
    (void)state;
    enum { SIZE = 9 << 20, WRITES = 300 };
    unsigned char *want = xcalloc(SIZE, 1), *got = xmalloc(SIZE, 1);
    spool *s = spool_new();
    uint32_t seed = 5;
    err e = {""};
    for (int k = 0; k < WRITES; k++) {
        size_t at = (size_t)(dice(&seed) * (SIZE - 70000)), n = (size_t)(dice(&seed) * 60000);
        at = k == 7 ? (4 << 20) - 100 : at;
        for (size_t i = 0; i < n; i++)
            want[at + i] = (unsigned char)(dice(&seed) * 256);
        assert_true(spool_write(s, at, want + at, n, &e));
    }
    memset(got, 1, SIZE);
    assert_true(spool_read(s, 0, got, SIZE, &e));
    assert_memory_equal(got, want, SIZE);
    assert_true(spool_read(s, (4 << 20) - 10, got, 20, &e));
    assert_memory_equal(got, want + (4 << 20) - 10, 20);
    spool_free(s);
    free(want);
    free(got);
}

static void test_spool_without_a_place(void **state)
{
    (void)state;
    char *was = xstrdup(getenv("TMPDIR"));
    setenv("TMPDIR", "build/no-such-folder", 1);
    spool *s = spool_new();
    err e = {""};
    char byte = 1;
    assert_true(spool_write(s, (4 << 20) - 1, &byte, 1, &e));
    assert_false(spool_write(s, 4 << 20, &byte, 1, &e));
    assert_non_null(strstr(e.text, "temporary file: No such file"));
    spool_free(s);
    if (was)
        setenv("TMPDIR", was, 1);
    else
        unsetenv("TMPDIR");
    free(was);
}

/* Voice in stretches; harmonics in most of the voiced frames. */
static track *make(size_t first, size_t n, const char *voiced, uint32_t *seed)
{
    track *t = track_new("", n, 0.005, 0);
    for (size_t i = 0; i < n; i++) {
        t->time_s[i] = (double)(first + i) * 0.005;
        t->level_db[i] = -60 * dice(seed);
        t->voicing[i] = dice(seed);
        t->doubled[i] = i % 3 == 1;
        t->irregular[i] = (unsigned char)(i % 64);
        if (voiced[(first + i) / 100] != 'v')
            continue;
        t->pitch_st[i] = 60 + dice(seed);
        for (size_t h = 0; h < TRACK_HARMONICS && i % 5; h++) {
            t->harmonic_db[i * TRACK_HARMONICS + h] = (float)dice(seed);
            t->noise_db[i * TRACK_HARMONICS + h] = h % 2 ? NAN : (float)-dice(seed);
        }
    }
    return t;
}

static void check_frames(const track *a, size_t skip, const track *b)
{
    enum { H = TRACK_HARMONICS };
    size_t n = b->n;
    assert_memory_equal(a->time_s + skip, b->time_s, n * sizeof(double));
    assert_memory_equal(a->pitch_st + skip, b->pitch_st, n * sizeof(double));
    assert_memory_equal(a->voicing + skip, b->voicing, n * sizeof(double));
    assert_memory_equal(a->doubled + skip, b->doubled, n);
    assert_memory_equal(a->irregular + skip, b->irregular, n);
    assert_memory_equal(a->level_db + skip, b->level_db, n * sizeof(double));
    assert_memory_equal(a->harmonic_db + skip * H, b->harmonic_db, n * H * sizeof(float));
    assert_memory_equal(a->noise_db + skip * H, b->noise_db, n * H * sizeof(float));
}

/* Each letter is half a second. Stretches have 60 frames before and behind them, and pauses of half
 * a second do not part them. */
static void test_store(void **state)
{
    (void)state;
    static const char first[] = "v-v--vv---vvvvvvvvvvvvvvvvvvvvvvvvvvvvvvv-", second[] = "--v-";
    static const stretch want[] = {
        {0, 0, 360, 200}, {0, 440, 320, 200}, {0, 940, 3160 + 60 + 0, 3100}, {1, 140, 220, 100}};
    uint32_t seed = 1;
    err e = {""};
    track_store *s = track_store_new();
    size_t n = 100 * strlen(first);
    track *a = make(0, n, first, &seed), *b = make(0, 400, second, &seed), *got;
    track_store_begin(s, "one", 0.005, DECLARED_M1);
    for (size_t i = 0, part = 1; i < n; i += part, part = part * 3 + 1) {
        track *piece = track_part(a, i, part < n - i ? part : n - i);
        assert_true(track_store_append(s, piece, &e));
        track_free(piece);
    }
    track_store_end(s);
    track_store_begin(s, "gone", 0.005, DECLARED_NONE);
    assert_true(track_store_append(s, a, &e));
    track_store_drop(s);
    track_store_begin(s, "two", 0.005, DECLARED_NONE);
    assert_true(track_store_append(s, b, &e));
    track_store_end(s);
    assert_int_equal(track_store_takes(s), 2);
    assert_int_equal(track_store_frames(s, 0), n);
    for (size_t k = 0; k < 50; k++) {
        size_t from = (size_t)(dice(&seed) * (double)n), more = (size_t)(dice(&seed) * 3000);
        assert_true(track_store_read(s, 0, from, more < n - from ? more : n - from, &got, &e));
        check_frames(a, from, got);
        assert_true(got->declared == DECLARED_M1);
        track_free(got);
    }
    assert_true(track_store_read(s, 1, 0, 400, &got, &e));
    check_frames(b, 0, got);
    assert_string_equal(got->take, "two");
    track_free(got);
    const stretch *all = track_store_stretches(s, &n);
    assert_int_equal(n, 4);
    for (size_t k = 0; k < 4; k++) {
        print_message("stretch: take %zu, frames %zu + %zu, %zu voiced\n", all[k].take,
                      all[k].first, all[k].n, all[k].voiced);
        assert_memory_equal(&all[k], &want[k], sizeof want[k]);
    }
    track_store_free(s);
    track_free(a);
    track_free(b);
}

static void test_labels(void **state)
{
    (void)state;
    uint32_t seed = 2;
    err e = {""};
    track_store *s = track_store_new();
    static const char letters[] = "vvvvv";
    track *a = make(0, 500, letters, &seed), *got;
    for (int k = 0; k < 2; k++) {
        track_store_begin(s, "take", 0.005, DECLARED_NONE);
        assert_true(track_store_append(s, a, &e));
        track_store_end(s);
    }
    static const unsigned char reg[3] = {2, 0, 1};
    const double p_m2[3] = {0.75, (double)NAN, 0.1};
    assert_true(track_store_label(s, 1, 100, 3, reg, p_m2, &e));
    assert_true(track_store_read(s, 1, 98, 10, &got, &e));
    for (size_t i = 0; i < 10; i++) {
        bool told = i >= 2 && i < 5;
        assert_int_equal(got->reg[i], told ? reg[i - 2] : 0);
        assert_true(told && i != 3 ? got->p_m2[i] == p_m2[i - 2] : isnan(got->p_m2[i]));
    }
    track_free(got);
    assert_true(track_store_read(s, 0, 100, 3, &got, &e));
    assert_true(got->reg[0] == 0 && isnan(got->p_m2[0]));
    track_free(got);
    track_store_free(s);
    track_free(a);
}

static const char folder[] = "build/test_parts-takes";
enum { TAKES_MOST = 6 };

static int sing(void **state)
{
    (void)state;
    const char *voice = getenv("TESTVOICE") ? getenv("TESTVOICE") : "build/testvoice";
    char *line = xformat("mkdir -p %s && %s family clear 7 %s", folder, voice, folder);
    int code = system(line);
    free(line);
    return code;
}

static bool keep(void *store, const track *piece, err *e)
{
    return track_store_append(store, piece, e);
}

/* Without what comes before and after the voice. */
static bool keep_voiced(void *store, const track *piece, err *e)
{
    size_t first = 0, end = piece->n;
    while (first < end && isnan(piece->pitch_st[first]))
        first++;
    while (end > first && isnan(piece->pitch_st[end - 1]))
        end--;
    track *t = track_part(piece, first, end - first);
    bool good = track_store_append(store, t, e);
    track_free(t);
    return good;
}

/* The singer's takes; joined: as one take without a pause. */
static track_store *listen(bool joined)
{
    track_store *s = track_store_new();
    voice_settings v = voice_defaults();
    err e = {""};
    if (joined)
        track_store_begin(s, "all", v.hop_s, DECLARED_NONE);
    for (int k = 0; k < TAKES_MOST; k++) {
        char *path = xformat("%s/take-%02d.wav", folder, k);
        if (access(path, R_OK) != 0) {
            free(path);
            break;
        }
        if (!joined)
            track_store_begin(s, path, v.hop_s, DECLARED_NONE);
        if (!voice_listen_pieces(path, &v, joined ? keep_voiced : keep, s, NULL, &e))
            fail_msg("%s", e.text);
        if (!joined)
            track_store_end(s);
        free(path);
    }
    if (joined) {
        track_store_end(s);
        size_t n;
        track_store_stretches(s, &n);
        assert_int_equal(n, 1);
    }
    return s;
}

typedef struct told {
    flips found[TAKES_MOST];
    size_t parts;
    register_summary summary;
    explanation why;
} told;

/* How far it is said to be: never back, never beyond 1. */
typedef struct shares {
    double last;
    size_t n;
} shares;

static void note_share(void *whose, double share)
{
    shares *s = whose;
    assert_true(share >= s->last && share <= 1 + 1e-9);
    s->last = share;
    s->n++;
}

static told decode(track_store *s, const parts_settings *sizes)
{
    shares seen = {0, 0};
    effort told_of = {.show = note_share, .whose = &seen, .to = 1};
    told t = {.parts = 0};
    err e = {""};
    register_settings settings = register_defaults();
    settings.opt_effort = &told_of;
    settings.opt_why = &t.why;
    if (!parts_decode(s, &settings, sizes, t.found, &t.summary, &t.parts, &e))
        fail_msg("%s", e.text);
    if (t.summary.voiced_s > 2) {
        print_message("said to be %.2f through at the end, in %zu steps\n", seen.last, seen.n);
        assert_true(seen.n > 6 && seen.last > 0.9);
    }
    return t;
}

static void told_clear(told *t)
{
    for (int k = 0; k < TAKES_MOST; k++)
        flips_clear(&t->found[k]);
    explanation_clear(&t->why);
}

/* Each flip is explained once, whichever part told it, and each part has its own model. */
static void check_explained(const told *t)
{
    size_t flips_told = 0, flips_explained = 0, models = 0;
    for (int k = 0; k < TAKES_MOST; k++)
        flips_told += t->found[k].n;
    for (size_t i = 0; i < t->why.n; i++) {
        const explain_row *r = &t->why.rows[i];
        assert_true(i == 0 || r->part >= r[-1].part);
        models += r->about == EXPLAIN_REGISTERS;
        if (r->about != EXPLAIN_FLIP || strcmp(r->item, "confidence") != 0)
            continue;
        flips_explained++;
        size_t same = 0;
        for (int k = 0; k < TAKES_MOST; k++)
            for (size_t j = 0; j < t->found[k].n; j++)
                same += t->found[k].items[j].time_s == r->time_s &&
                        t->found[k].items[j].confidence == r->value;
        assert_int_equal(same, 1);
    }
    print_message("%zu flips explained in %zu parts\n", flips_explained, models);
    assert_int_equal(flips_explained, flips_told);
    assert_int_equal(models, t->parts);
    assert_int_equal(t->why.rows[t->why.n - 1].part, t->parts);
}

/* Asserted flips of a that b asserts, too, within 30 ms. */
static size_t common(const told *a, const told *b, size_t *all)
{
    size_t n = 0;
    *all = 0;
    for (int k = 0; k < TAKES_MOST; k++)
        for (size_t i = 0; i < a->found[k].n; i++) {
            const flip *f = &a->found[k].items[i];
            assert_true(i == 0 || f->time_s > f[-1].time_s);
            if (f->confidence < FLIP_ASSERTED)
                continue;
            ++*all;
            for (size_t j = 0; j < b->found[k].n; j++) {
                const flip *g = &b->found[k].items[j];
                n += g->confidence >= FLIP_ASSERTED && g->direction == f->direction &&
                     fabs(g->time_s - f->time_s) < 0.03;
            }
        }
    return n;
}

/* Frames with a register, and those of them in which both stores have the same. */
static size_t same_registers(const track_store *a, const track_store *b, size_t *all)
{
    size_t n = 0;
    *all = 0;
    for (size_t k = 0; k < track_store_takes(a); k++) {
        track *x, *y;
        err e = {""};
        size_t frames = track_store_frames(a, k);
        assert_true(track_store_read(a, k, 0, frames, &x, &e));
        assert_true(track_store_read(b, k, 0, frames, &y, &e));
        for (size_t i = 0; i < frames; i++) {
            *all += x->reg[i] != 0;
            n += x->reg[i] && x->reg[i] == y->reg[i];
        }
        track_free(x);
        track_free(y);
    }
    return n;
}

/* Half a minute of voice in parts a fifteenth of the usual size, and so with far less to learn
 * from: they hear what the whole hears, all flips but one and 97 frames of 100, and none but one
 * besides. Takes are not cut where there are pauses; where all are one stretch, it is cut in the
 * middle of voice. */
static void check_parts(bool joined)
{
    static const parts_settings sizes = {
        .whole = 3000, .own = 3000, .longest = 4000, .excerpts = 10, .excerpt = 300};
    track_store *a = listen(joined), *b = listen(joined);
    parts_settings together = parts_defaults();
    told whole = decode(a, &together), parts = decode(b, &sizes);
    size_t flips_a, flips_b, frames;
    size_t same = common(&whole, &parts, &flips_a), back = common(&parts, &whole, &flips_b);
    size_t registers = same_registers(a, b, &frames);
    print_message("%zu parts (%s): %zu of %zu flips of the whole, %zu of their own %zu in the "
                  "whole; %.1f %% of frames\n",
                  parts.parts, parts.summary.text, same, flips_a, back, flips_b,
                  100.0 * (double)registers / (double)frames);
    check_explained(&whole);
    check_explained(&parts);
    assert_int_equal(whole.parts, 1);
    assert_true(parts.parts >= 2);
    assert_true(flips_a >= 5 && same + 1 >= flips_a && back + 1 >= flips_b);
    assert_true(100 * registers >= 97 * frames);
    assert_true(fabs(whole.summary.voiced_s - parts.summary.voiced_s) < 1e-9);
    assert_true(parts.summary.answer == REGISTER_BOTH && isnan(parts.summary.gain_nats));
    told_clear(&whole);
    told_clear(&parts);
    track_store_free(a);
    track_store_free(b);
}

static void test_parts_are_the_whole(void **state)
{
    (void)state;
    check_parts(false);
}

static void test_voice_without_a_pause(void **state)
{
    (void)state;
    check_parts(true);
}

static void test_nothing(void **state)
{
    (void)state;
    track_store *s = track_store_new();
    parts_settings sizes = parts_defaults();
    told t = decode(s, &sizes);
    assert_int_equal(t.summary.answer, REGISTER_TOO_LITTLE);
    assert_int_equal(t.parts, 1);
    assert_true(t.summary.voiced_s <= 0);
    track_store_free(s);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_spool),
        cmocka_unit_test(test_spool_without_a_place),
        cmocka_unit_test(test_store),
        cmocka_unit_test(test_labels),
        cmocka_unit_test(test_parts_are_the_whole),
        cmocka_unit_test(test_voice_without_a_pause),
        cmocka_unit_test(test_nothing),
    };
    return cmocka_run_group_tests_name("parts", tests, sing, NULL);
}
