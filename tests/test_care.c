/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Care of the journal's file. Oracles: damage that the test did itself; SQLite's own reading of the
 * copy; the bytes of the file, in which nothing of a singer who was forgotten may be found. */
#include "journal/care.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/stat.h>
#include <sys/wait.h>

#include <cmocka.h>

#include "fill_journal.h"
#include "journal_file.h"

static const sung takes[] = {
    {"wren", "2024-01-01", "a", NULL, -30, NAN, 400, UNSTATED, UNSTATED, DECLARED_NONE, true},
    {"wren", "2024-02-01", "a", "shed", -31, NAN, 300, PITCH, LEVEL, DECLARED_NONE, false},
    {"robin", "2024-01-01", "a", NULL, -30, 110, 500, UNSTATED, UNSTATED, DECLARED_M1, true},
    {"robin", "2024-01-01", "o", NULL, -30, 110, 350, UNSTATED, UNSTATED, DECLARED_NONE, true},
};

typedef struct faults {
    size_t n;
    char last[512];
} faults;

static void note(void *context, const char *what)
{
    faults *f = context;
    f->n++;
    snprintf(f->last, sizeof f->last, "%s", what);
}

static faults verify(const char *file, care_count *count)
{
    err e = {""};
    faults f = {0};
    journal *j = open_journal(file, JOURNAL_READ);
    must(care_verify(j, "test", note, &f, count, &e), &e);
    journal_close(j);
    assert_int_equal(f.n, count->faults);
    return f;
}

static void test_verify(void **state)
{
    const char *file = *state;
    care_count count;
    static const struct {
        const char *damage, *fault;
    } cases[] = {
        {"UPDATE frames SET heard = zeroblob(length(heard)) WHERE take = 1", "not those"},
        {"UPDATE frames SET heard = x'00' WHERE take = 2", "damaged"},
        {"UPDATE takes SET code = '0' || substr(code, 2) WHERE id = 3", "does not have the name"},
        {"PRAGMA foreign_keys = OFF; DELETE FROM takes WHERE id = 4", "belongs to no row"},
        {"DELETE FROM registers; DELETE FROM frames WHERE take = 1", "damaged"},
    };
    for (size_t i = 0; i < N_OF(cases); i++) {
        unlink(file);
        journal_close(fill(file, takes, N_OF(takes)));
        faults f = verify(file, &count);
        assert_int_equal(f.n, 0);
        assert_int_equal(count.takes, 4);
        assert_int_equal(count.singers, 2);
        assert_int_equal(count.frames, 400 + 300 + 500 + 350);
        assert_int_equal(count.waiting, 0);
        run_sql_in(file, cases[i].damage);
        f = verify(file, &count);
        assert_true(f.n >= 1);
        if (!strstr(f.last, cases[i].fault))
            fail_msg("%s", f.last);
    }
}

static long count_in(const char *file, const void *bytes, size_t n)
{
    FILE *f = fopen(file, "rb");
    assert_non_null(f);
    char *all = xmalloc(1 << 22, 1);
    size_t length = fread(all, 1, 1 << 22, f);
    long found = 0;
    fclose(f);
    assert_true(length > 1000 && length < 1 << 22);
    for (size_t i = 0; i + n <= length; i++)
        found += memcmp(all + i, bytes, n) == 0;
    free(all);
    return found;
}

/* Nothing lies beside the journal in which a singer could still be read. */
static void check_alone(const char *file)
{
    static const char *const others[] = {"-journal", "-wal", "-shm"};
    for (size_t i = 0; i < N_OF(others); i++) {
        char *beside = xformat("%s%s", file, others[i]);
        assert_int_equal(access(beside, F_OK), -1);
        free(beside);
    }
}

/* Nothing of the singer is in the file afterwards: name, rig, digests, codes, frames. What is of
 * others stays. */
static void test_forget(void **state)
{
    err e = {""};
    const char *file = *state;
    journal *j = fill(file, takes, N_OF(takes));
    journal_item *items;
    size_t n;
    must(journal_tracks(j, "wren", NULL, &items, &n, &e), &e);
    assert_int_equal(n, 2);
    static const correction up = {CORRECTION_ADD, FLIP_UP, 0.123456789, 0.123456789};
    must(corrections_say(j, items[0].take.code, &up, &e), &e);
    float pitch[20], level[20];
    for (size_t f = 0; f < 20; f++) {
        pitch[f] = (float)items[0].track->pitch_st[f];
        level[f] = (float)items[1].track->level_db[f];
    }
    const struct {
        const void *bytes;
        size_t n;
    } traces[] = {{"wren", 4},
                  {"shed", 4},
                  {items[0].take.sound, JOURNAL_DIGEST},
                  {items[1].take.sound, JOURNAL_DIGEST},
                  {items[0].take.code, 64},
                  {items[1].take.code, 12},
                  {"00.wav", 6},
                  {pitch, sizeof pitch},
                  {level, sizeof level}};
    for (size_t i = 0; i < N_OF(traces); i++)
        assert_true(count_in(file, traces[i].bytes, traces[i].n) > 0);
    must(care_forget(j, "wren", &e), &e);
    check_alone(file);
    journal_close(j);
    check_alone(file);
    for (size_t i = 0; i < N_OF(traces); i++)
        if (count_in(file, traces[i].bytes, traces[i].n))
            fail_msg("trace %zu is still in the file", i);
    assert_int_equal(ask_number_in(file, "SELECT count(*) FROM takes"), 2);
    assert_int_equal(ask_number_in(file, "SELECT count(*) FROM corrections"), 0);
    care_count count;
    assert_int_equal(verify(file, &count).n, 0);
    assert_int_equal(count.waiting, 0);
    j = open_journal(file, JOURNAL_WRITE);
    assert_false(care_forget(j, "wren", &e));
    assert_non_null(strstr(e.text, "no singer wren"));
    journal_close(j);
    journal_items_free(items, n);
}

/* The copy is whole, private, and never over another file; a writer in the middle is left out. */
static void test_backup(void **state)
{
    err e = {""};
    struct stat st;
    care_count count;
    journal *j = fill(*state, takes, 3);
    char *copy = xformat("%s-copy", (char *)*state);
    must(journal_begin(j, &e), &e);
    store(j, &takes[3], 3);
    journal *reader = open_journal(*state, JOURNAL_READ);
    must(care_backup(reader, copy, &e), &e);
    journal_close(reader);
    journal_rollback(j);
    assert_int_equal(verify(copy, &count).n, 0);
    assert_int_equal(count.takes, 3);
    assert_int_equal(stat(copy, &st), 0);
    assert_int_equal(st.st_mode & 0777, 0600);
    assert_false(care_backup(j, copy, &e));
    assert_non_null(strstr(e.text, "not written over"));
    assert_int_equal(verify(copy, &count).n, 0);
    assert_false(care_backup(j, "/none/copy", &e));
    unlink(copy);
    free(copy);
    journal_close(j);
}

/* Another name: takes, corrections and registers go along, and nothing waits. */
static void test_rename(void **state)
{
    err e = {""};
    care_count count;
    journal_item *items;
    size_t n;
    journal *j = fill(*state, takes, N_OF(takes));
    must(journal_tracks(j, "wren", NULL, &items, &n, &e), &e);
    static const correction up = {CORRECTION_ADD, FLIP_UP, 0.8, 0.8};
    must(corrections_say(j, items[0].take.code, &up, &e), &e);
    judge(j, "wren");
    journal_items_free(items, n);
    assert_false(care_rename(j, "wren", "robin", &e));
    assert_non_null(strstr(e.text, "a singer robin already"));
    assert_false(care_rename(j, "jay", "magpie", &e));
    must(care_rename(j, "wren", "jay", &e), &e);
    must(journal_tracks(j, "jay", NULL, &items, &n, &e), &e);
    assert_int_equal(n, 2);
    assert_int_equal(items[0].flips.n, 1);
    assert_int_equal(items[0].flips.items[0].origin, FLIP_ADDED);
    verdicts v;
    must(verdicts_read(j, items[0].take.code, &v, &e), &e);
    assert_int_equal(v.n, 1);
    verdicts_clear(&v);
    assert_false(journal_knows(j, "wren", &e));
    journal_items_free(items, n);
    journal_close(j);
    assert_int_equal(verify(*state, &count).n, 0);
    assert_int_equal(count.waiting, 0);
}

static size_t count_takes(journal *j)
{
    err e = {""};
    journal_take *list;
    size_t n;
    must(journal_takes(j, "wren", NULL, &list, &n, &e), &e);
    journal_takes_free(list, n);
    return n;
}

/* A take that is removed counts nowhere, is still there when it is stored again, and comes back. */
static void test_remove_and_restore(void **state)
{
    err e = {""};
    journal_item item;
    journal_singer *singers;
    size_t n;
    journal *j = fill(*state, takes, N_OF(takes));
    char *code = ask_sql_in(*state, "SELECT code FROM takes WHERE file = '00.wav'");
    code[64] = '\0';
    must(care_remove(j, code, true, &e), &e);
    must(care_remove(j, code, true, &e), &e);
    judge(j, "wren");
    assert_int_equal(count_takes(j), 1);
    must(journal_singers(j, &singers, &n, &e), &e);
    assert_int_equal(singers[1].takes, 1);
    assert_string_equal(singers[1].first, "2024-02-01");
    journal_singers_free(singers, n);
    store(j, &takes[0], 0);
    judge(j, "wren");
    assert_int_equal(count_takes(j), 1);
    must(journal_named(j, code, true, &item, &e), &e);
    assert_true(item.take.removed);
    journal_item_clear(&item);
    must(care_remove(j, code, false, &e), &e);
    judge(j, "wren");
    assert_int_equal(count_takes(j), 2);
    free(code);
    journal_close(j);
}

static unsigned char *read_bytes(const char *file, size_t *n)
{
    FILE *f = fopen(file, "rb");
    assert_non_null(f);
    unsigned char *bytes = xmalloc(1 << 22, 1);
    *n = fread(bytes, 1, 1 << 22, f);
    fclose(f);
    assert_true(*n > 0 && *n < 1 << 22);
    return bytes;
}

static void write_bytes(const char *file, const unsigned char *bytes, size_t n)
{
    FILE *f = fopen(file, "wb");
    assert_non_null(f);
    assert_int_equal(fwrite(bytes, 1, n, f), n);
    assert_int_equal(fclose(f), 0);
}

/* Forty takes, and a page of the file overwritten or its end cut off: what is saved is a sound
 * journal whose takes are as they were, and most of them are. A whole journal is saved whole. */
static void test_recover(void **state)
{
    enum { MANY = 40, ROUNDS = 30, PAGE = 4096 };
    sung many[MANY];
    size_t n, saved[2] = {0}, opened[2] = {0}, all[2] = {0}; /* of whole length; cut short */
    char *to = xformat("%s-saved", (char *)*state);
    for (int k = 0; k < MANY; k++) {
        many[k] = takes[0];
        many[k].frames = 300 + k;
    }
    journal_close(fill(*state, many, MANY));
    unsigned char *good = read_bytes(*state, &n), *bad = xmalloc(n, 1);
    for (int round = 0; round < ROUNDS; round++) {
        err e = {""};
        size_t kept = 0, lost = 0, page = round ? (size_t)round * (n / PAGE) / ROUNDS : 0;
        bool cut = round % 7 == 6;
        all[cut]++;
        memcpy(bad, good, n);
        if (page)
            memset(bad + page * PAGE, 0xA5, PAGE);
        unlink(*state);
        write_bytes(*state, bad, cut ? n - n / 4 / PAGE * PAGE : n);
        unlink(to);
        if (!care_recover(*state, to, &kept, &lost, &e)) {
            assert_true(strlen(e.text) > 10);
            assert_int_equal(access(to, F_OK), -1);
            continue;
        }
        care_count count;
        assert_int_equal(verify(to, &count).n, 0);
        assert_int_equal(count.takes, kept);
        assert_true(round || (kept == MANY && lost == 0 && count.waiting == 0));
        saved[cut] += kept;
        opened[cut]++;
    }
    for (int cut = 0; cut < 2; cut++)
        print_message("%zu of %zu journals %s gave %zu of %zu takes\n", opened[cut], all[cut],
                      cut ? "cut short" : "with a damaged page", saved[cut], opened[cut] * MANY);
    assert_true(opened[0] >= all[0] / 2 && saved[0] >= opened[0] * MANY / 2);
    assert_true(opened[1] >= all[1] / 2 && saved[1] >= opened[1] * MANY / 2);
    unlink(to);
    free(to);
    free(good);
    free(bad);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_verify, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_forget, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_backup, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_recover, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_rename, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_remove_and_restore, new_journal, drop_journal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
