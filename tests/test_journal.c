/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The journal. Oracles: what was stored comes back bit by bit; every order of storing gives the
 * same lists; a killed process leaves what it reported, checked by SQLite's own integrity check; a
 * damaged file gives a sentence or the truth, never a crash; digests by another implementation. */
#include "base/array.h"
#include "journal/frames_long.h"
#include "journal/judgement.h"
#include "journal/store.h"
#include "voice/egg.h"

#include <math.h>
#include <setjmp.h>
#include <signal.h>
#include <sqlite3.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include <cmocka.h>

#include "journal_file.h"

static const char file[] = "journal.db";

static pid_t runner;

static int enter_folder(void **state)
{
    char *folder = xstrdup("/tmp/test_journal_XXXXXX");
    *state = folder;
    runner = getpid();
    return mkdtemp(folder) && chdir(folder) == 0 ? 0 : -1;
}

static int leave_folder(void **state)
{
    char *command = xformat("rm -rf '%s'", (char *)*state);
    int failed = chdir("/") != 0 || system(command) != 0;
    free(command);
    free(*state);
    return failed;
}

/* A child whose own check failed goes no further: the file is its parent's. */
static int fresh(void **state)
{
    (void)state;
    if (getpid() != runner)
        _exit(1);
    unlink(file);
    unlink("journal.db-journal");
    return 0;
}

/* The test's own random numbers: a linear congruential generator (Knuth, MMIX). */
static unsigned dice(uint64_t *seed)
{
    *seed = *seed * 6364136223846793005u + 1442695040888963407u;
    return (unsigned)(*seed >> 33);
}

/* A value that a 32-bit float holds, now and then NaN or -INFINITY. */
static float any_value(uint64_t *seed)
{
    unsigned d = dice(seed) % 20;
    if (d < 2)
        return d ? -INFINITY : NAN;
    return (float)(dice(seed) % 100000) / 512.0f - 90.0f;
}

static track *any_track(size_t n, uint64_t seed)
{
    track *t = track_new("as named", n, 0.005, 0.0025);
    t->full_scale_db = seed % 2 ? 112.5 : (double)NAN;
    for (size_t i = 0; i < n; i++) {
        t->pitch_st[i] = (double)any_value(&seed);
        t->voicing[i] = (double)(dice(&seed) % 256) / 256;
        t->level_db[i] = (double)any_value(&seed);
        t->reg[i] = (unsigned char)(dice(&seed) % 3);
        t->doubled[i] = i % 5 == 2;
        t->irregular[i] = (unsigned char)(i % 64);
        t->p_m2[i] = (double)any_value(&seed);
        for (size_t h = 0; i % 3 && h < TRACK_HARMONICS; h++) {
            t->harmonic_db[i * TRACK_HARMONICS + h] = any_value(&seed);
            t->noise_db[i * TRACK_HARMONICS + h] = any_value(&seed);
        }
    }
    t->egg = n % 2 ? xcalloc(n, sizeof *t->egg) : NULL;
    for (size_t i = 0; t->egg && i < n; i++)
        t->egg[i] = (egg_frame){any_value(&seed), any_value(&seed), any_value(&seed),
                                any_value(&seed), any_value(&seed), 0.25F};
    return t;
}

static flip any_flip(uint64_t seed, double time_s)
{
    double confidence = (double)(dice(&seed) % 100) / 100;
    return (flip){.time_s = time_s,
                  .direction = dice(&seed) % 2 ? FLIP_UP : FLIP_DOWN,
                  .pitch_before_st = 60 + (double)(dice(&seed) % 1000) / 99,
                  .pitch_after_st = dice(&seed) % 4 ? 61.7 : (double)NAN,
                  .level_before_db = -30.125,
                  .level_after_db = dice(&seed) % 4 ? -31.1 : -(double)INFINITY,
                  .span_ms = 41.7,
                  .leap_cents = -312.5,
                  .level_step_db = dice(&seed) % 4 ? 2.5 : (double)NAN,
                  .spectral_step_db = 7.25,
                  .irregular_cycles = (int)(dice(&seed) % 9),
                  .seam_jnd = 12.5,
                  .kind = (flip_kind)(dice(&seed) % FLIP_KINDS),
                  .confidence = confidence};
}

/* The k-th of some takes, all told from each other. */
typedef struct made {
    journal_take take;
    track *track;
    flips flips;
} made;

static made *make_take(size_t k)
{
    made *m = xcalloc(1, sizeof *m);
    uint64_t seed = k + 1;
    journal_take *t = &m->take;
    for (size_t i = 0; i < JOURNAL_DIGEST; i++)
        t->sound[i] = (unsigned char)dice(&seed);
    t->singer = xstrdup(k % 4 == 3 ? "robin" : "wren");
    t->date = xformat("2024-%02zu-%02zu", 1 + k % 3, 1 + k % 5);
    t->date_from = (date_origin)(k % 3);
    t->rig = xstrdup(k % 2 ? "studio" : "");
    t->full_scale_db = k % 2 ? 112.5 : (double)NAN;
    t->distance_cm = 30;
    t->file = xformat("take-%zu.wav", k % 7);
    t->start_s = k % 5 ? (double)NAN : 1.5;
    t->end_s = k % 5 ? (double)NAN : 12.25;
    t->seconds = 10.0 / 3 + (double)k;
    t->voiced_s = 2.5;
    t->clipped_runs = k;
    t->dc = -0.001;
    t->peak = 0.5;
    t->leq_db = k % 6 ? -31.7 : -(double)INFINITY;
    t->laeq_db = k % 5 ? -33.2 : (double)NAN;
    t->lzeq_db = -30.9;
    t->lcfmax_db = -22.4;
    t->lcsmax_db = k % 7 ? -25.5 : -(double)INFINITY;
    t->name = xstrdup("siren");
    t->vowel = xstrdup(k % 3 ? "a" : "");
    t->hold = (int)(k % 9) - 1;
    t->vary = (int)((k + 3) % 9) - 1;
    t->declared = (declared_register)(k % 3);
    t->egg = (int)(k % 2);
    t->microphone = (int)(k % 3);
    t->channel = (int)(k % 4);
    t->egg_channel = (int)(k % 5);
    t->settings = xstrdup("hop_s=0.005");
    t->version = xstrdup("0.1.0");
    t->code = xcalloc(JOURNAL_CODE, 1);
    journal_code(t->singer, t->sound, t->start_s, t->end_s, t->code);
    m->track = any_track(20 + k % 50, k + 1);
    m->track->declared = t->declared;
    for (size_t i = 0; i < k % 4; i++)
        flips_append(&m->flips, any_flip(k + i, 0.1 * (double)(i + 1)));
    return m;
}

static void made_free(made *m)
{
    journal_take_clear(&m->take);
    track_free(m->track);
    flips_clear(&m->flips);
    free(m);
}

static void store_or_fail(journal *j, const made *m)
{
    err e;
    if (!journal_store(j, &m->take, m->track, NULL, &e))
        fail_msg("%s", e.text);
}

static void label(journal_item *item, const made *m)
{
    for (size_t f = 0; f < m->flips.n; f++)
        flips_append(&item->flips, m->flips.items[f]);
    memcpy(item->track->reg, m->track->reg, item->track->n);
    memcpy(item->track->p_m2, m->track->p_m2, item->track->n * sizeof(double));
}

/* Judges as register_decode() might: here the registers and flips are those that were made. False
 * when nothing waits. */
static bool judge_next(journal *j, const char *singer, made *const *all, size_t n)
{
    judgement g;
    bool any, stale;
    err e;
    if (!judgement_next(j, singer, "0.1.0", &g, &any, &e))
        fail_msg("%s", e.text);
    if (!any)
        return false;
    for (size_t i = 0; i < g.n_before + g.n; i++)
        for (size_t k = 0; k < n; k++)
            if (strcmp(g.items[i].take.code, all[k]->take.code) == 0)
                label(&g.items[i], all[k]);
    if (!judgement_store(j, &g, "0.1.0", "both", &stale, &e))
        fail_msg("%s", e.text);
    judgement_clear(&g);
    return true;
}

static void judge_or_fail(journal *j, const char *singer, made *const *all, size_t n)
{
    while (judge_next(j, singer, all, n))
        ;
}

/* Equal bit by bit, any NaN equal to any other. */
static void same_doubles(const double *a, const double *b, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (!(isnan(a[i]) && isnan(b[i])))
            assert_memory_equal(&a[i], &b[i], sizeof *a);
}

static void same_floats(const float *a, const float *b, size_t n)
{
    for (size_t i = 0; i < n; i++)
        if (!(isnan(a[i]) && isnan(b[i])))
            assert_memory_equal(&a[i], &b[i], sizeof *a);
}

static void same_outline(const track *a, const track *b)
{
    assert_int_equal(a->n, b->n);
    assert_true(a->hop_s == b->hop_s);
    same_doubles(&a->full_scale_db, &b->full_scale_db, 1);
    assert_int_equal(a->declared, b->declared);
    same_doubles(a->time_s, b->time_s, a->n);
    same_doubles(a->pitch_st, b->pitch_st, a->n);
    same_doubles(a->voicing, b->voicing, a->n);
    same_doubles(a->level_db, b->level_db, a->n);
    same_doubles(a->p_m2, b->p_m2, a->n);
    assert_memory_equal(a->reg, b->reg, a->n);
    assert_memory_equal(a->doubled, b->doubled, a->n);
    assert_memory_equal(a->irregular, b->irregular, a->n);
}

static void same_track(const track *a, const track *b)
{
    same_outline(a, b);
    same_floats(a->harmonic_db, b->harmonic_db, a->n * TRACK_HARMONICS);
    same_floats(a->noise_db, b->noise_db, a->n * TRACK_HARMONICS);
    assert_int_equal(a->egg == NULL, b->egg == NULL);
    if (a->egg)
        assert_memory_equal(a->egg, b->egg, a->n * sizeof *a->egg);
}

static void same_take(const journal_take *a, const journal_take *b)
{
    const double numbers_a[] = {
        a->full_scale_db, a->distance_cm, a->start_s, a->end_s,   a->seconds,   a->voiced_s, a->dc,
        a->peak,          a->leq_db,      a->laeq_db, a->lzeq_db, a->lcfmax_db, a->lcsmax_db};
    const double numbers_b[] = {
        b->full_scale_db, b->distance_cm, b->start_s, b->end_s,   b->seconds,   b->voiced_s, b->dc,
        b->peak,          b->leq_db,      b->laeq_db, b->lzeq_db, b->lcfmax_db, b->lcsmax_db};
    same_doubles(numbers_a, numbers_b, sizeof numbers_a / sizeof *numbers_a);
    assert_string_equal(a->code, b->code);
    assert_string_equal(a->singer, b->singer);
    assert_string_equal(a->date, b->date);
    assert_int_equal(a->date_from, b->date_from);
    assert_string_equal(a->rig, b->rig);
    assert_string_equal(a->file, b->file);
    assert_memory_equal(a->sound, b->sound, JOURNAL_DIGEST);
    assert_int_equal(a->clipped_runs, b->clipped_runs);
    assert_string_equal(a->name, b->name);
    assert_string_equal(a->vowel, b->vowel);
    assert_int_equal(a->hold, b->hold);
    assert_int_equal(a->vary, b->vary);
    assert_int_equal(a->declared, b->declared);
    assert_int_equal(a->egg, b->egg);
    assert_int_equal(a->microphone, b->microphone);
    assert_int_equal(a->channel, b->channel);
    assert_int_equal(a->egg_channel, b->egg_channel);
    assert_string_equal(a->settings, b->settings);
    assert_string_equal(a->version, b->version);
}

static void same_flips(const flips *a, const flips *b)
{
    assert_int_equal(a->n, b->n);
    for (size_t i = 0; i < a->n; i++) {
        const flip *x = &a->items[i], *y = &b->items[i];
        const double numbers_x[] = {x->time_s,           x->pitch_before_st, x->pitch_after_st,
                                    x->level_before_db,  x->level_after_db,  x->span_ms,
                                    x->confidence,       x->leap_cents,      x->level_step_db,
                                    x->spectral_step_db, x->seam_jnd};
        const double numbers_y[] = {y->time_s,           y->pitch_before_st, y->pitch_after_st,
                                    y->level_before_db,  y->level_after_db,  y->span_ms,
                                    y->confidence,       y->leap_cents,      y->level_step_db,
                                    y->spectral_step_db, y->seam_jnd};
        same_doubles(numbers_x, numbers_y, sizeof numbers_x / sizeof *numbers_x);
        assert_int_equal(x->direction, y->direction);
        assert_int_equal(x->origin, y->origin);
        assert_int_equal(x->kind, y->kind);
        assert_int_equal(x->irregular_cycles, y->irregular_cycles);
    }
}

/* In the list of its singer, and alone. */
static void same_item(journal *j, const journal_item *listed, const made *m)
{
    journal_item whole;
    err e;
    same_take(&listed->take, &m->take);
    same_outline(listed->track, m->track);
    same_flips(&listed->flips, &m->flips);
    assert_true(journal_named(j, m->take.code, false, &whole, &e));
    same_take(&whole.take, &m->take);
    same_track(whole.track, m->track);
    same_flips(&whole.flips, &m->flips);
    assert_int_equal(whole.take.flips + whole.take.doubtful, m->flips.n);
    journal_item_clear(&whole);
}

static void test_comes_back_bit_by_bit(void **state)
{
    (void)state;
    enum { TAKES = 25 };
    made *all[TAKES];
    journal *j = open_journal(file, JOURNAL_WRITE);
    for (size_t k = 0; k < TAKES; k++)
        store_or_fail(j, all[k] = make_take(k));
    judge_or_fail(j, "wren", all, TAKES);
    judge_or_fail(j, "robin", all, TAKES);
    journal_close(j);
    j = open_journal(file, JOURNAL_READ);
    size_t seen = 0;
    static const char *const singers[] = {"wren", "robin"};
    for (size_t s = 0; s < 2; s++) {
        journal_item *items;
        size_t n;
        err e;
        assert_true(journal_tracks(j, singers[s], NULL, &items, &n, &e));
        for (size_t i = 1; i < n; i++)
            assert_true(strcmp(items[i - 1].take.date, items[i].take.date) <= 0);
        for (size_t i = 0; i < n; i++)
            for (size_t k = 0; k < TAKES; k++)
                if (strcmp(items[i].take.code, all[k]->take.code) == 0) {
                    same_item(j, &items[i], all[k]);
                    seen++;
                }
        journal_items_free(items, n);
    }
    assert_int_equal(seen, TAKES);
    journal_close(j);
    for (size_t k = 0; k < TAKES; k++)
        made_free(all[k]);
}

/* A track without frames, and one whose every frame is undefined. */
static void test_empty_tracks(void **state)
{
    (void)state;
    journal *j = open_journal(file, JOURNAL_WRITE);
    for (size_t n = 0; n < 2; n++) {
        made *m = make_take(8 + n);
        track_free(m->track);
        m->track = track_new("", n, 0.005, 0);
        m->track->declared = m->take.declared;
        m->take.leq_db = (double)NAN;
        store_or_fail(j, m);
        judge_or_fail(j, "wren", &m, 1);
        journal_item *items;
        size_t count;
        err e;
        assert_true(journal_tracks(j, "wren", m->take.vowel, &items, &count, &e));
        assert_int_equal(count, 1);
        same_item(j, &items[0], m);
        journal_items_free(items, count);
        made_free(m);
    }
    journal_close(j);
}

/* Everything that a reader is told, in one text. */
static char *tell_all(void)
{
    journal *j = open_journal(file, JOURNAL_READ);
    journal_singer *singers;
    size_t n_singers, room = 1 << 18, at = 0;
    err e;
    char *text = xcalloc(room, 1);
    assert_true(journal_singers(j, &singers, &n_singers, &e));
    for (size_t s = 0; s < n_singers; s++) {
        const journal_singer *g = &singers[s];
        journal_item *items;
        size_t n;
        at += (size_t)snprintf(text + at, room - at, "%s %zu %zu %zu %s %s\n", g->name, g->sessions,
                               g->takes, g->flips, g->first, g->last);
        assert_true(journal_tracks(j, g->name, NULL, &items, &n, &e));
        for (size_t i = 0; i < n; i++) {
            const journal_take *t = &items[i].take;
            at += (size_t)snprintf(text + at, room - at, "%s %s %s %s %s %zu %a %zu:", t->take,
                                   t->file, t->date, t->vowel, t->rig, t->flips, t->seconds,
                                   items[i].track->n);
            for (size_t f = 0; f < items[i].track->n; f++)
                at += (size_t)snprintf(text + at, room - at, "%d", items[i].track->reg[f]);
            at += (size_t)snprintf(text + at, room - at, "\n");
            assert_true(at < room - 1000);
        }
        journal_items_free(items, n);
    }
    journal_singers_free(singers, n_singers);
    journal_close(j);
    return text;
}

/* In any order, in batches of any size, each take once or twice: the same is said. */
static void test_order_does_not_matter(void **state)
{
    (void)state;
    enum { TAKES = 17, ORDERS = 6 };
    made *all[TAKES];
    char *first = NULL;
    for (size_t k = 0; k < TAKES; k++)
        all[k] = make_take(k);
    for (size_t order = 0; order < ORDERS; order++) {
        uint64_t seed = order;
        fresh(state);
        journal *j = open_journal(file, JOURNAL_WRITE);
        for (size_t step = 0; step < TAKES; step++) {
            size_t k = (step * (order + 1) + order) % TAKES;
            store_or_fail(j, all[k]);
            if (dice(&seed) % 3 == 0)
                store_or_fail(j, all[(k + 5) % TAKES]);
            if (dice(&seed) % 4 == 0)
                judge_or_fail(j, all[k]->take.singer, all, TAKES);
        }
        judge_or_fail(j, "robin", all, TAKES);
        judge_or_fail(j, "wren", all, TAKES);
        journal_close(j);
        char *text = tell_all();
        if (!first)
            first = xstrdup(text);
        assert_string_equal(text, first);
        free(text);
    }
    assert_non_null(strstr(first, "robin 4 4 "));
    assert_non_null(strstr(first, " 2024-01-01 2024-03-02\n"));
    free(first);
    for (size_t k = 0; k < TAKES; k++)
        made_free(all[k]);
}

static size_t count_takes(journal *j, const char *singer)
{
    journal_take *takes;
    size_t n;
    err e;
    if (!journal_takes(j, singer, NULL, &takes, &n, &e))
        fail_msg("%s", e.text);
    journal_takes_free(takes, n);
    return n;
}

/* A take that is heard anew is shown as it was until it is judged, and keeps its corrections; its
 * old session goes when nothing else is in it. */
static void test_heard_anew(void **state)
{
    (void)state;
    made *m = make_take(4);
    journal *j = open_journal(file, JOURNAL_WRITE);
    journal_take *takes, found;
    bool there;
    size_t n;
    err e;
    store_or_fail(j, m);
    assert_int_equal(count_takes(j, "wren"), 0);
    judge_or_fail(j, "wren", &m, 1);
    assert_int_equal(count_takes(j, "wren"), 1);
    const correction no = {CORRECTION_REMOVE, FLIP_UP, 1.25, 1.25};
    assert_true(corrections_say(j, m->take.code, &no, &e));
    judge_or_fail(j, "wren", &m, 1);
    free(m->take.vowel);
    free(m->take.date);
    m->take.vowel = xstrdup("o");
    m->take.date = xstrdup("2025-12-31");
    store_or_fail(j, m);
    assert_true(journal_takes(j, "wren", NULL, &takes, &n, &e));
    assert_int_equal(n, 1);
    assert_string_equal(takes[0].vowel, "a");
    journal_takes_free(takes, n);
    assert_true(journal_find(j, m->take.code, &found, &there, &e));
    assert_true(there);
    assert_string_equal(found.vowel, "o");
    assert_false(found.judged);
    journal_take_clear(&found);
    judge_or_fail(j, "wren", &m, 1);
    assert_true(journal_takes(j, "wren", NULL, &takes, &n, &e));
    assert_int_equal(n, 1);
    same_take(&takes[0], &m->take);
    journal_takes_free(takes, n);
    journal_close(j);
    assert_int_equal(ask_number_in(file, "SELECT count(*) FROM takes"), 1);
    assert_int_equal(ask_number_in(file, "SELECT count(*) FROM frames"), 1);
    assert_int_equal(ask_number_in(file, "SELECT count(*) FROM sessions"), 1);
    assert_int_equal(
        ask_number_in(file, "SELECT count(*) FROM corrections c JOIN takes t ON t.code = c.code"
                            " WHERE t.vowel = 'o' AND c.time_s = 1.25"),
        1);
    made_free(m);
}

/* Names are as long as it takes to tell takes apart. */
static void test_names_of_takes(void **state)
{
    (void)state;
    static const char *const codes[] = {"aaaaaaaaaa1", "aaaaaaaaaa2", "aaaaaaaaaa22",
                                        "bbbbbbbbbbbb"};
    static const char *const names[] = {"aaaaaaaaaa1", "aaaaaaaaaa20", "aaaaaaaaaa22",
                                        "bbbbbbbbbb"};
    journal *j = open_journal(file, JOURNAL_WRITE);
    for (size_t k = 0; k < 4; k++) {
        made *m = make_take(1);
        memset(m->take.code, '0', JOURNAL_CODE - 1);
        memcpy(m->take.code, codes[k], strlen(codes[k]));
        store_or_fail(j, m);
        judge_or_fail(j, "wren", &m, 1);
        made_free(m);
    }
    journal_take *takes;
    size_t n;
    err e;
    assert_true(journal_takes(j, "wren", NULL, &takes, &n, &e));
    assert_int_equal(n, 4);
    for (size_t k = 0; k < 4; k++)
        assert_string_equal(takes[k].take, names[k]);
    journal_takes_free(takes, n);
    journal_close(j);
}

/* Oracle: SHA-256 by Python's hashlib of the texts, each with its final NUL, and the digest. */
static void test_codes(void **state)
{
    (void)state;
    unsigned char sound[JOURNAL_DIGEST];
    char code[JOURNAL_CODE];
    for (size_t i = 0; i < JOURNAL_DIGEST; i++)
        sound[i] = (unsigned char)i;
    journal_code("wren", sound, (double)NAN, (double)NAN, code);
    assert_string_equal(code, "18ecb0e51e6deba83b0cea3414c3fb1fca1e490eaf715199d48bdf29d6648644");
    journal_code("wren", sound, 1.5, 12.25, code);
    assert_string_equal(code, "dfc94c781a80eea4b8d4bab67293fe2af9da6a3a943e179dab49d60beae05b1b");
}

static void test_unknown_singer(void **state)
{
    (void)state;
    static const char *const cases[][2] = {
        {"wern", "The journal has no singer wern; did you mean wren?"},
        {"", "The journal has no singer : seamline singers lists those it has."},
        {"albatross", "The journal has no singer albatross: seamline singers lists those it has."},
        {"'; DROP TABLE takes; --",
         "The journal has no singer '; DROP TABLE takes; --: seamline singers lists those it has."},
    };
    made *m = make_take(1);
    journal *j = open_journal(file, JOURNAL_WRITE);
    store_or_fail(j, m);
    judge_or_fail(j, "wren", &m, 1);
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        journal_take *takes;
        size_t n;
        err e = {""};
        assert_false(journal_takes(j, cases[k][0], NULL, &takes, &n, &e));
        assert_string_equal(e.text, cases[k][1]);
    }
    assert_int_equal(count_takes(j, "wren"), 1);
    journal_close(j);
    made_free(m);
}

static void refuse(const char *path, journal_mode mode, const char *sentence)
{
    journal *j = NULL;
    err e = {""};
    assert_false(journal_open(path, mode, &j, &e));
    assert_null(j);
    assert_string_equal(e.text, sentence);
}

static void write_bytes(const char *path, const void *bytes, size_t n)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(bytes, 1, n, f), n);
    assert_int_equal(fclose(f), 0);
}

static void test_what_is_no_journal(void **state)
{
    (void)state;
    refuse(file, JOURNAL_READ, "There is no journal journal.db yet: seamline add begins it.");
    refuse(".", JOURNAL_READ, ". is a folder, not a journal.");
    refuse(".", JOURNAL_WRITE, ". is a folder, not a journal.");
    refuse("none/j.db", JOURNAL_WRITE,
           "The journal none/j.db cannot be written: No such file or directory.");
    write_bytes("song.txt", "la la la\n", 9);
    refuse("song.txt", JOURNAL_READ, "song.txt is no journal: it is not a database.");
    refuse("song.txt", JOURNAL_WRITE, "song.txt is no journal: it is not a database.");
    refuse("song.txt/j.db", JOURNAL_WRITE,
           "The journal song.txt/j.db cannot be read: Not a directory.");
    write_bytes(file, "", 0);
    refuse(file, JOURNAL_READ, "The journal journal.db holds nothing yet.");
    run_sql_in(file, "CREATE TABLE recipes(soup TEXT)");
    refuse(file, JOURNAL_WRITE, "journal.db is another program's database, not a journal.");
    assert_int_equal(ask_number_in(file, "SELECT count(*) FROM sqlite_schema"), 1);
    fresh(state);
    journal_close(open_journal(file, JOURNAL_WRITE));
    run_sql_in(file, "PRAGMA user_version = 77");
    refuse(file, JOURNAL_READ,
           "The journal journal.db was written by a newer seamline (schema 77, this one knows up "
           "to 4): update seamline.");
}

/* Where the journal lies when nobody says, and that others may not read it. */
static void test_place_and_mode(void **state)
{
    (void)state;
    struct stat st;
    journal *j;
    err e;
    char *here = getcwd(NULL, 0), *named = xformat("%s/named.db", here);
    mode_t mask = umask(0);
    setenv("SEAMLINE_JOURNAL", named, 1);
    char *path = journal_path();
    assert_string_equal(path, named);
    free(path);
    unsetenv("SEAMLINE_JOURNAL");
    setenv("HOME", here, 1);
    unsetenv("XDG_DATA_HOME");
    assert_true(journal_open(NULL, JOURNAL_WRITE, &j, &e));
    assert_true(journal_begin(j, &e));
    made *m = make_take(1);
    store_or_fail(j, m);
    assert_int_equal(stat(".local/share/seamline/journal.db-journal", &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600);
    journal_close(j);
    made_free(m);
    assert_int_equal(stat(".local/share/seamline/journal.db", &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600);
    assert_int_equal(stat(".local/share/seamline", &st), 0);
    assert_int_equal(st.st_mode & 0777, 0700);
    char *data = xformat("%s/data", here);
    setenv("XDG_DATA_HOME", data, 1);
    assert_true(journal_open(NULL, JOURNAL_WRITE, &j, &e));
    journal_close(j);
    assert_int_equal(stat("data/seamline/journal.db", &st), 0);
    umask(mask);
    free(data);
    free(named);
    free(here);
}

/* The child stores one take for good, then dies in the middle of storing and judging more. */
static void test_killed_in_the_middle(void **state)
{
    (void)state;
    for (int moment = 0; moment < 3; moment++) {
        fresh(state);
        pid_t child = fork();
        assert_true(child >= 0);
        if (child == 0) {
            journal *j;
            err e;
            made *all[] = {make_take(1), make_take(2), make_take(4)};
            if (!journal_open(file, JOURNAL_WRITE, &j, &e) ||
                !journal_store(j, &all[0]->take, all[0]->track, NULL, &e))
                _exit(1);
            judge_or_fail(j, "wren", all, 3);
            if (!journal_begin(j, &e) ||
                !journal_store(j, &all[1]->take, all[1]->track, NULL, &e) ||
                !journal_store(j, &all[2]->take, all[2]->track, NULL, &e))
                _exit(1);
            if (moment > 0)
                judge_or_fail(j, "wren", all, 3);
            if (moment == 2)
                _exit(0);
            raise(SIGKILL);
        }
        int status;
        assert_int_equal(waitpid(child, &status, 0), child);
        assert_true(WIFSIGNALED(status) ? WTERMSIG(status) == SIGKILL : WEXITSTATUS(status) == 0);
        journal *j = open_journal(file, JOURNAL_READ);
        assert_int_equal(count_takes(j, "wren"), 1);
        journal_close(j);
        assert_int_equal(ask_number_in(file, "SELECT count(*) FROM takes"), 1);
        assert_int_equal(
            ask_number_in(file,
                          "SELECT integrity_check = 'ok' FROM pragma_integrity_check LIMIT 1"),
            1);
    }
}

/* Stores takes as fast as it can and reports each by a byte once it is stored and judged. */
static void write_until_killed(int report, size_t first)
{
    journal *j;
    err e;
    if (!journal_open(file, JOURNAL_WRITE, &j, &e))
        _exit(1);
    for (size_t k = first;; k++) {
        made *m = make_take(4 * k);
        if (!journal_store(j, &m->take, m->track, NULL, &e))
            _exit(1);
        judge_or_fail(j, "wren", &m, 1);
        if (write(report, "+", 1) != 1)
            _exit(1);
        made_free(m);
    }
}

static void pause_us(long us)
{
    struct timespec t = {0, us * 1000};
    nanosleep(&t, NULL);
}

/* Killed at any moment, every take that was reported is there. */
static void test_killed_at_any_moment(void **state)
{
    (void)state;
    uint64_t seed = 42;
    size_t reported = 0;
    for (int round = 0; round < 20; round++) {
        int ends[2];
        char bytes[4096];
        assert_int_equal(pipe(ends), 0);
        pid_t child = fork();
        assert_true(child >= 0);
        if (child == 0) {
            close(ends[0]);
            write_until_killed(ends[1], 100 * (size_t)round);
        }
        close(ends[1]);
        for (unsigned wait_for = 1 + dice(&seed) % 4; wait_for > 0; wait_for--, reported++)
            assert_int_equal(read(ends[0], bytes, 1), 1);
        pause_us(dice(&seed) % 10000);
        kill(child, SIGKILL);
        assert_int_equal(waitpid(child, NULL, 0), child);
        for (ssize_t got; (got = read(ends[0], bytes, sizeof bytes)) > 0;)
            reported += (size_t)got;
        close(ends[0]);
        assert_int_equal(
            ask_number_in(file,
                          "SELECT integrity_check = 'ok' FROM pragma_integrity_check LIMIT 1"),
            1);
        assert_true((size_t)ask_number_in(file, "SELECT count(*) FROM takes WHERE judged = 1") >=
                    reported);
    }
    print_message("%zu takes were reported in 20 rounds, seed 42\n", reported);
    assert_true(reported >= 20);
}

/* Four processes at once: all takes are there, and the same is said as after one alone. */
static void test_four_writers(void **state)
{
    (void)state;
    enum { WRITERS = 4, EACH = 8 };
    made *all[WRITERS * EACH];
    for (size_t k = 0; k < WRITERS * EACH; k++)
        all[k] = make_take(k);
    journal *alone = open_journal(file, JOURNAL_WRITE);
    for (size_t k = 0; k < WRITERS * EACH; k++) {
        store_or_fail(alone, all[k]);
        judge_or_fail(alone, all[k]->take.singer, all, WRITERS * EACH);
    }
    journal_close(alone);
    char *expected = tell_all();
    fresh(state);
    for (size_t w = 0; w < WRITERS; w++)
        if (fork() == 0) {
            journal *j = open_journal(file, JOURNAL_WRITE);
            err e;
            for (size_t k = w; k < WRITERS * EACH; k += WRITERS) {
                store_or_fail(j, all[k]);
                if (!journal_begin(j, &e))
                    _exit(1);
                judge_or_fail(j, all[k]->take.singer, all, WRITERS * EACH);
                if (!journal_commit(j, &e))
                    _exit(1);
            }
            journal_close(j);
            _exit(0);
        }
    wait_for_all();
    char *said = tell_all();
    assert_string_equal(said, expected);
    free(said);
    free(expected);
    for (size_t k = 0; k < WRITERS * EACH; k++)
        made_free(all[k]);
}

/* Reads all that there is; false with a sentence is fine, a crash is not. */
static bool read_all(err *e)
{
    journal *j;
    journal_item *items;
    journal_singer *singers;
    size_t n;
    if (!journal_open(file, JOURNAL_READ, &j, e))
        return false;
    bool fine = journal_singers(j, &singers, &n, e);
    if (fine)
        journal_singers_free(singers, n);
    fine = fine && journal_tracks(j, "wren", NULL, &items, &n, e);
    if (fine) {
        for (size_t i = 0; fine && i < n; i++) {
            journal_item whole;
            fine = journal_named(j, items[i].take.code, false, &whole, e);
            if (fine)
                journal_item_clear(&whole);
        }
        journal_items_free(items, n);
    }
    journal_close(j);
    return fine;
}

static unsigned char *read_bytes(size_t *n)
{
    FILE *f = fopen(file, "rb");
    assert_non_null(f);
    unsigned char *bytes = xmalloc(1 << 20, 1);
    *n = fread(bytes, 1, 1 << 20, f);
    fclose(f);
    assert_true(*n > 0 && *n < 1 << 20);
    return bytes;
}

/* A file that is cut short, or has 1 to 8 bytes changed, gives a sentence or is read. */
static void test_damaged_file(void **state)
{
    (void)state;
    enum { ROUNDS = 1000 };
    uint64_t seed = 7;
    size_t n, refused = 0;
    journal *j = open_journal(file, JOURNAL_WRITE);
    for (size_t k = 0; k < 8; k++) {
        made *m = make_take(4 * k);
        store_or_fail(j, m);
        judge_or_fail(j, "wren", &m, 1);
        made_free(m);
    }
    journal_close(j);
    unsigned char *good = read_bytes(&n), *bad = xmalloc(n, 1);
    for (int round = 0; round < ROUNDS; round++) {
        err e = {""};
        size_t length = round % 4 ? n : dice(&seed) % n;
        memcpy(bad, good, n);
        for (unsigned i = round % 4 ? 1 + dice(&seed) % 8 : 0; i > 0; i--)
            bad[round % 2 ? dice(&seed) % n : dice(&seed) % 8192] = (unsigned char)dice(&seed);
        write_bytes(file, bad, length);
        if (!read_all(&e)) {
            refused++;
            assert_true(strlen(e.text) > 10 && e.text[strlen(e.text) - 1] == '.');
        }
    }
    print_message("%zu of %d damaged files were refused, seed 7\n", refused, ROUNDS);
    assert_true(refused >= ROUNDS / 10);
    write_bytes(file, good, n);
    err e = {""};
    if (!read_all(&e))
        fail_msg("%s", e.text);
    free(good);
    free(bad);
}

/* Bytes of another length than n frames need are told from good ones. */
static void check_wrong_lengths(size_t n_frames)
{
    track *t = any_track(n_frames, 3), *back = track_new("", n_frames, 0.005, 0.0025);
    frames_bytes heard = frames_heard_write(t), p_m2 = frames_p_m2_write(t);
    for (size_t n = 0; n < heard.n; n++)
        if (n != heard.n - n_frames * sizeof(egg_frame) || !t->egg)
            assert_false(frames_heard_read(heard.bytes, n, back));
    assert_true(frames_heard_read(heard.bytes, heard.n, back));
    assert_memory_equal(t->doubled, back->doubled, n_frames);
    assert_memory_equal(t->irregular, back->irregular, n_frames);
    heard.bytes = xrealloc(heard.bytes, heard.n + 1, 1);
    assert_false(frames_heard_read(heard.bytes, heard.n + 1, back));
    assert_false(frames_registers_read(t->reg, n_frames - 1, p_m2.bytes, p_m2.n, back));
    assert_false(frames_registers_read(t->reg, n_frames, p_m2.bytes, p_m2.n - 1, back));
    assert_true(frames_registers_read(t->reg, n_frames, p_m2.bytes, p_m2.n, back));
    t->reg[17] = 3;
    assert_false(frames_registers_read(t->reg, n_frames, p_m2.bytes, p_m2.n, back));
    free(heard.bytes);
    free(p_m2.bytes);
    track_free(t);
    track_free(back);
}

/* An outline takes what begins with pitch, voicing, level and flags of every frame. */
static void check_outline_lengths(size_t n_frames)
{
    track *t = any_track(n_frames, 3), *back = track_outline("", n_frames, 0.005, 0.0025);
    frames_bytes heard = frames_heard_write(t);
    for (size_t n = 0; n <= heard.n; n++)
        assert_int_equal(frames_heard_read(heard.bytes, n, back), n >= n_frames * FRAMES_OUTLINE);
    assert_null(back->harmonic_db);
    assert_memory_equal(t->doubled, back->doubled, n_frames);
    free(heard.bytes);
    track_free(t);
    track_free(back);
}

typedef struct some_bytes {
    const unsigned char *bytes;
    size_t n;
} some_bytes;

static bool give(void *context, size_t at, void *bytes, size_t n, err *e)
{
    const some_bytes *all = context;
    (void)e;
    assert_true(at + n <= all->n);
    memcpy(bytes, all->bytes + at, n);
    return true;
}

/* Bytes that were read in parts are the frames that they were made of; wrong lengths are told. */
static void check_read_in_parts(const track *t, const unsigned char *bytes, size_t n)
{
    static const size_t off[] = {0, 1, 12, 13};
    for (size_t k = 0; k < sizeof off / sizeof *off; k++) {
        some_bytes some = {bytes, n < off[k] ? 0 : n - off[k]};
        track_store *store = track_store_new();
        track *back;
        bool right;
        err e = {""};
        track_store_begin(store, "", t->hop_s, t->declared);
        assert_true(
            frames_long_read(give, &some, some.n, t->n, t->full_scale_db, store, &right, &e));
        assert_int_equal(right, some.n == n);
        if (right) {
            assert_true(track_store_read(store, 0, 0, t->n, &back, &e));
            frames_bytes again = frames_heard_write(back);
            assert_int_equal(again.n, n);
            assert_memory_equal(again.bytes, bytes, n);
            free(again.bytes);
            track_free(back);
        }
        track_store_free(store);
    }
}

/* In parts as at once, with and without an EGG. */
static void test_frames_of_a_long_take(void **state)
{
    (void)state;
    static const size_t lengths[] = {0, 1, FRAMES_AT_ONCE, 2 * FRAMES_AT_ONCE + 101, 5002};
    for (size_t k = 0; k < sizeof lengths / sizeof *lengths; k++) {
        track *t = any_track(lengths[k], 3 + k);
        track_store *store = track_store_new();
        spool *spooled = spool_new();
        unsigned char at_once[FRAMES_DIGEST], in_parts[FRAMES_DIGEST];
        size_t n;
        err e = {""};
        frames_bytes heard = frames_heard_write(t);
        frames_digest(heard.bytes, heard.n, at_once);
        track_store_begin(store, t->take, t->hop_s, t->declared);
        assert_true(track_store_append(store, t, &e));
        assert_true(frames_long_write(store, 0, spooled, &n, in_parts, &e));
        assert_int_equal(n, heard.n);
        unsigned char *back = xmalloc(n + 1, 1);
        assert_true(spool_read(spooled, 0, back, n, &e));
        assert_memory_equal(back, heard.bytes, n);
        assert_memory_equal(in_parts, at_once, FRAMES_DIGEST);
        check_read_in_parts(t, back, n);
        free(back);
        free(heard.bytes);
        spool_free(spooled);
        track_store_free(store);
        track_free(t);
    }
}

/* With an EGG the bytes without it are good ones, too: those of a take that has none. */
static void test_frames_of_wrong_length(void **state)
{
    (void)state;
    check_wrong_lengths(50);
    check_wrong_lengths(51);
    check_outline_lengths(50);
    check_outline_lengths(51);
}

/* One of wren's takes of a vowel, of so much voice by what is said of it. */
static made *make_long(size_t k, size_t frames, double voiced_s)
{
    made *m = make_take(4 * k);
    free(m->take.vowel);
    free(m->take.date);
    m->take.vowel = xstrdup("i");
    m->take.date = xformat("2025-01-0%zu", k + 1);
    m->take.voiced_s = voiced_s;
    track_free(m->track);
    m->track = any_track(frames, k + 5);
    m->track->declared = m->take.declared;
    for (size_t i = 0; i < frames; i++)
        m->track->time_s[i] = 0.005 * (double)i;
    return m;
}

static void label_stored(judgement *g, size_t i, const made *m)
{
    err e;
    track *t = m->track;
    for (size_t f = 0; f < m->flips.n; f++)
        flips_append(&g->items[i].flips, m->flips.items[f]);
    assert_true(track_store_label(g->store, i, 0, t->n, t->reg, t->p_m2, &e));
}

/* A part with a take of more than six minutes of voice comes in a store, and what is made of it is
 * stored as that of others; the next part is not given that take. */
static void test_long_takes(void **state)
{
    made *all[] = {make_long(0, 40, 2.5), make_long(1, 2 * FRAMES_AT_ONCE + 51, 400),
                   make_long(2, 30, 2.5)};
    (void)state;
    journal *j = open_journal(file, JOURNAL_WRITE);
    judgement g;
    bool any, stale;
    err e;
    for (size_t k = 0; k < 3; k++)
        store_or_fail(j, all[k]);
    assert_true(judgement_next(j, "wren", "0.1.0", &g, &any, &e) && any);
    assert_true(g.store && g.n == 2 && g.n_before == 0);
    label_stored(&g, 0, all[0]);
    label_stored(&g, 1, all[1]);
    assert_true(judgement_store(j, &g, "0.1.0", "both", &stale, &e));
    judgement_clear(&g);
    assert_true(judgement_next(j, "wren", "0.1.0", &g, &any, &e) && any);
    assert_true(!g.store && g.n == 1 && g.n_before == 1);
    assert_string_equal(g.items[0].take.code, all[0]->take.code);
    judgement_clear(&g);
    for (size_t k = 0; k < 2; k++) {
        journal_item item;
        assert_true(journal_named(j, all[k]->take.code, false, &item, &e));
        same_track(item.track, all[k]->track);
        same_flips(&item.flips, &all[k]->flips);
        journal_item_clear(&item);
    }
    for (size_t k = 0; k < 3; k++)
        made_free(all[k]);
    journal_close(j);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_long_takes, fresh),
        cmocka_unit_test_setup(test_comes_back_bit_by_bit, fresh),
        cmocka_unit_test_setup(test_empty_tracks, fresh),
        cmocka_unit_test_setup(test_order_does_not_matter, fresh),
        cmocka_unit_test_setup(test_heard_anew, fresh),
        cmocka_unit_test_setup(test_names_of_takes, fresh),
        cmocka_unit_test(test_codes),
        cmocka_unit_test_setup(test_unknown_singer, fresh),
        cmocka_unit_test_setup(test_what_is_no_journal, fresh),
        cmocka_unit_test(test_place_and_mode),
        cmocka_unit_test(test_killed_in_the_middle),
        cmocka_unit_test_setup(test_killed_at_any_moment, fresh),
        cmocka_unit_test_setup(test_four_writers, fresh),
        cmocka_unit_test_setup(test_damaged_file, fresh),
        cmocka_unit_test(test_frames_of_wrong_length),
        cmocka_unit_test(test_frames_of_a_long_take),
    };
    return cmocka_run_group_tests(tests, enter_folder, leave_folder);
}
