/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The journal under load: four writers at once beside a reader, and ten thousand takes. Oracles: a
 * list of what each writer was told is stored; the journal's own check; the clock. $LOAD_SECONDS
 * and $LOAD_TAKES: how long and how many, a short form unless given. */
#include "journal/care.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>

#include <cmocka.h>

#include "fill_journal.h"
#include "journal_file.h"

enum { WRITERS = 4, SINGERS = 30, SESSION = 10, WORD = 64 };

static double now_s(void)
{
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + 1e-9 * (double)t.tv_nsec;
}

static long given(const char *name, long otherwise)
{
    const char *text = getenv(name);
    return text ? strtol(text, NULL, 10) : otherwise;
}

/* The k-th take: a slide with harmonics. Singers in turn, a session every ten takes of a singer,
 * every second week. */
static track *take_of(long k, sung *s, char singer[WORD], char date[WORD])
{
    long own = k / SINGERS, day = own / SESSION * 14;
    snprintf(singer, WORD, "singer-%02ld", k % SINGERS);
    snprintf(date, WORD, "%04ld-%02ld-%02ld", 2015 + day / 336, 1 + day % 336 / 28, 1 + day % 28);
    *s = (sung){.singer = singer,
                .date = date,
                .vowel = "a",
                .level_db = -40 + (double)(k * 7 % 31),
                .full_scale_db = 110,
                .frames = 800 + (int)(k * 37 % 800),
                .hold = LEVEL,
                .vary = PITCH,
                .slides = true};
    track *t = track_of(s);
    for (size_t f = 0; f < t->n; f++)
        for (size_t h = 0; h < TRACK_HARMONICS; h++) {
            t->pitch_st[f] += 0.001 * (double)(k % 17);
            t->harmonic_db[f * TRACK_HARMONICS + h] = (float)s->level_db - 3 * (float)h;
            t->noise_db[f * TRACK_HARMONICS + h] = (float)s->level_db - 40;
        }
    return t;
}

static void store_kth(journal *j, long k)
{
    sung s;
    char singer[WORD], date[WORD];
    track *t = take_of(k, &s, singer, date);
    store_track(j, &s, (int)k, t);
    track_free(t);
}

/* What the decoder would fill in: flips up within a semitone of 64, down of 61, each by its own. */
static void label_about(track *t)
{
    double off[2];
    for (int back = 0; back < 2; back++)
        off[back] = (double)(t->n * (back ? 6101 : 7919) % 1000) / 500 - 1;
    for (size_t f = 0; f < t->n; f++) {
        bool back = 2 * f >= t->n, heavy = t->pitch_st[f] < (back ? 61 : 64) + off[back];
        t->reg[f] = heavy ? 1 : 2;
        t->p_m2[f] = heavy ? 0.02 : 0.98;
    }
}

/* As the program does it: a part that another process has changed meanwhile is told anew. */
static void judge_beside_others(journal *j, const char *singer)
{
    err e = {""};
    judgement g;
    bool any = true, stale;
    while (any) {
        must(judgement_next(j, singer, "test", &g, &any, &e), &e);
        if (!any)
            return;
        for (size_t i = 0; i < g.n_before + g.n; i++)
            label_about(g.items[i].track);
        must(judgement_store(j, &g, "test", "", &stale, &e), &e);
        judgement_clear(&g);
    }
}

/* Stores every fourth take for some seconds and tells the number of each that is stored and judged
 * in a file of its own. */
static void write_for(const char *file, int writer, double seconds)
{
    char *name = xformat("%s-told-%d", file, writer);
    FILE *told = fopen(name, "w");
    journal *j = open_journal(file, JOURNAL_WRITE);
    double end = now_s() + seconds;
    assert_non_null(told);
    for (long k = writer; now_s() < end; k += WRITERS) {
        char singer[WORD];
        snprintf(singer, sizeof singer, "singer-%02ld", k % SINGERS);
        store_kth(j, k);
        judge_beside_others(j, singer);
        fprintf(told, "%ld\n", k);
        fflush(told);
    }
    journal_close(j);
    fclose(told);
    free(name);
}

/* Opens the journal anew again and again: what it counts never falls. */
static void read_for(const char *file, double seconds)
{
    double end = now_s() + seconds;
    size_t last = 0;
    while (now_s() < end) {
        err e = {""};
        journal_singer *singers;
        size_t n, takes = 0;
        journal *j = open_journal(file, JOURNAL_READ);
        must(journal_singers(j, &singers, &n, &e), &e);
        for (size_t i = 0; i < n; i++)
            takes += singers[i].takes;
        journal_singers_free(singers, n);
        journal_close(j);
        assert_true(takes >= last);
        last = takes;
    }
}

static long check_told(const char *file, journal *j, int writer)
{
    char *name = xformat("%s-told-%d", file, writer);
    FILE *told = fopen(name, "r");
    long k, n = 0;
    assert_non_null(told);
    while (fscanf(told, "%ld", &k) == 1) {
        err e = {""};
        sung s;
        char singer[WORD], date[WORD], code[JOURNAL_CODE];
        unsigned char sound[JOURNAL_DIGEST];
        journal_item item;
        track *t = take_of(k, &s, singer, date);
        sound_of((int)k, sound);
        journal_code(singer, sound, (double)NAN, (double)NAN, code);
        must(journal_named(j, code, false, &item, &e), &e);
        assert_int_equal(item.track->n, t->n);
        assert_string_equal(item.take.date, date);
        journal_item_clear(&item);
        track_free(t);
        n++;
    }
    fclose(told);
    unlink(name);
    free(name);
    return n;
}

static void check_sound(const char *file, size_t least)
{
    err e = {""};
    care_count count;
    journal *j = open_journal(file, JOURNAL_READ);
    must(care_verify(j, "test", NULL, NULL, &count, &e), &e);
    journal_close(j);
    assert_int_equal(count.faults, 0);
    assert_int_equal(count.waiting, 0);
    assert_true(count.takes >= least);
}

static void test_four_writers(void **state)
{
    const char *file = *state;
    double seconds = (double)given("LOAD_SECONDS", 2);
    long told[WRITERS], all = 0;
    journal_close(open_journal(file, JOURNAL_WRITE));
    for (int w = 0; w <= WRITERS; w++)
        if (fork() == 0) {
            if (w < WRITERS)
                write_for(file, w, seconds);
            else
                read_for(file, seconds);
            _exit(0);
        }
    wait_for_all();
    journal *j = open_journal(file, JOURNAL_READ);
    for (int w = 0; w < WRITERS; w++)
        all += told[w] = check_told(file, j, w);
    journal_close(j);
    check_sound(file, (size_t)all);
    print_message("four writers for %.0f s: %ld + %ld + %ld + %ld takes, all there\n", seconds,
                  told[0], told[1], told[2], told[3]);
    for (int w = 0; w < WRITERS; w++)
        assert_true(told[w] > 0);
}

/* Processor time of all children so far. */
static double children_s(void)
{
    struct rusage u;
    assert_int_equal(getrusage(RUSAGE_CHILDREN, &u), 0);
    return (double)(u.ru_utime.tv_sec + u.ru_stime.tv_sec) +
           1e-6 * (double)(u.ru_utime.tv_usec + u.ru_stime.tv_usec);
}

/* How long the program takes, to the end of its picture: processor time, since what others do on
 * the machine is none of ours. */
static double time_of(const char *file, const char *arguments)
{
    const char *program = getenv("SEAMLINE");
    char *line = xformat("%s %s --journal %s >%s.said", program ? program : "build/seamline",
                         arguments, file, file);
    double start = children_s();
    int code = system(line);
    double took = children_s() - start;
    if (code != 0)
        fail_msg("%s: %d", line, code);
    free(line);
    print_message("%.2f s: %s\n", took, arguments);
    return took;
}

static void test_many_takes(void **state)
{
    const char *file = *state;
    long n = given("LOAD_TAKES", 600);
    err e = {""};
    struct stat st;
    journal *j = open_journal(file, JOURNAL_WRITE);
    must(journal_begin(j, &e), &e);
    for (long k = 0; k < n; k++)
        store_kth(j, k);
    for (int s = 0; s < SINGERS; s++) {
        char singer[WORD];
        snprintf(singer, sizeof singer, "singer-%02d", s);
        judge_beside_others(j, singer);
    }
    must(journal_commit(j, &e), &e);
    journal_close(j);
    assert_int_equal(stat(file, &st), 0);
    print_message("%ld takes of %d singers, %.0f MB\n", n, SINGERS, 1e-6 * (double)st.st_size);
    char *map = xformat("map singer-07 -o %s.png", file), *picture = xformat("%s.png", file);
    const char *tested = getenv("SEAMLINE");
    bool sanitized = getenv("ASAN_OPTIONS") || (tested && strstr(tested, "/san/"));
    double limit_s = sanitized ? 20 : 1;
    assert_true(time_of(file, "singers") < limit_s);
    assert_true(time_of(file, "takes singer-07") < limit_s);
    assert_true(time_of(file, map) < limit_s);
    unlink(picture);
    free(picture);
    free(map);
    char *rest = xformat("%s.said", file);
    unlink(rest);
    free(rest);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_four_writers, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_many_takes, new_journal, drop_journal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
