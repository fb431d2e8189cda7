/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Journals that are merged. Oracle: whatever the order, and however often, the journal holds what
 * one holds into which everything was put by hand; SQLite's own reading of the file. */
#include "journal/care.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/wait.h>

#include <cmocka.h>

#include "fill_journal.h"
#include "journal_file.h"

enum { TAKES = 12, SHARDS = 3 };

static sung take_of(int k, int version)
{
    static const char *const singers[] = {"wren", "robin", "jay"};
    static const char *const dates[] = {"2024-01-01", "2024-02-01"};
    static const char *const rigs[] = {NULL, "shed"};
    return (sung){singers[k % 3],
                  dates[k / 3 % 2],
                  k % 4 ? "a" : "o",
                  rigs[version],
                  -30 - k,
                  k % 2 ? 110 : NAN,
                  100 + 10 * k,
                  UNSTATED,
                  UNSTATED,
                  DECLARED_NONE,
                  true};
}

static void put(journal *j, int k, int version)
{
    sung s = take_of(k, version);
    store(j, &s, k);
}

static void judge_everybody(journal *j)
{
    judge(j, "wren");
    judge(j, "robin");
    judge(j, "jay");
}

/* The code of the k-th take. */
static char *code_of(const char *file, int k)
{
    char *ask = xformat("SELECT DISTINCT code FROM takes WHERE file = '%02d.wav'", k);
    char *code = ask_sql_in(file, ask);
    free(ask);
    code[strcspn(code, "\n")] = '\0';
    return code;
}

static void say(journal *j, const char *file, int k, double time_s)
{
    err e = {""};
    char *code = code_of(file, k);
    const correction up = {CORRECTION_ADD, FLIP_UP, time_s, time_s};
    must(corrections_say(j, code, &up, &e), &e);
    free(code);
}

static void drop(journal *j, const char *file, int k, bool removed)
{
    err e = {""};
    char *code = code_of(file, k);
    must(care_remove(j, code, removed, &e), &e);
    free(code);
}

/* Everything but numbers of rows, each row by what it says. A take that was removed says nothing of
 * registers. */
static char *content(const char *file)
{
    return ask_sql_in(
        file,
        "SELECT 'g ' || name || notes FROM singers UNION ALL "
        "SELECT 's ' || g.name || s.date || s.rig || quote(s.full_scale_db) FROM sessions s JOIN "
        "singers g ON g.id = s.singer UNION ALL "
        "SELECT 't ' || t.code || t.judged || g.name || s.date || s.rig || quote(s.full_scale_db) "
        "|| t.vowel || t.file || (t.removed % 2) || hex(f.digest) || iif(t.removed % 2, '', "
        "hex(r.reg)) FROM takes t JOIN "
        "sessions s ON s.id = t.session JOIN singers g ON g.id = s.singer JOIN frames f ON f.take "
        "= t.id LEFT JOIN registers r ON r.take = t.id UNION ALL "
        "SELECT 'f ' || t.code || f.number || f.time_s || f.direction || f.confidence || "
        "quote(f.stated) FROM flips f JOIN takes t ON t.id = f.take WHERE t.removed % 2 = 0 UNION "
        "ALL "
        "SELECT 'c ' || code || number || action || direction || time_s FROM corrections UNION ALL "
        "SELECT 'm ' || g.name || m.vowel || m.part || m.answer || m.rests_on FROM models m JOIN "
        "singers g ON g.id = m.singer ORDER BY 1");
}

/* Each shard holds some takes, some of them in two shards and then told otherwise, some corrected
 * and some removed and brought back. Shard SHARDS is all of it put in by hand. */
static void make_shard(const char *file, int shard)
{
    bool all = shard == SHARDS;
    journal *j = open_journal(file, JOURNAL_WRITE);
    for (int k = 0; k < TAKES; k++)
        if (all || k % SHARDS == shard || (k + 1) % SHARDS == shard)
            put(j, k, all || k % SHARDS == shard);
    judge_everybody(j);
    if (all || shard == 0)
        say(j, file, 0, 0.2);
    if (all || shard == 2) { /* take 2 is in shards 2 and 0 */
        drop(j, file, 2, true);
        drop(j, file, 5, true);
        drop(j, file, 5, false);
        say(j, file, 2, 0.3);
    }
    if (all || shard == 1) {
        say(j, file, 4, 0.1);
        say(j, file, 4, 0.4);
    }
    judge_everybody(j);
    journal_close(j);
}

static void test_order_free(void **state)
{
    static const int orders[][6] = {
        {0, 1, 2, -1}, {2, 1, 0, -1}, {1, 2, 0, -1}, {0, 1, 2, 0, 1, -1}, {2, 2, 0, 1, 2, -1}};
    char *files[SHARDS + 1], *into = *state;
    for (int k = 0; k <= SHARDS; k++) {
        files[k] = xformat("%s-%d", into, k);
        make_shard(files[k], k);
    }
    char *want = content(files[SHARDS]);
    assert_true(strlen(want) > 3000);
    for (size_t i = 0; i < N_OF(orders); i++) {
        err e = {""};
        size_t taken = 0;
        care_count count;
        unlink(into);
        journal *j = open_journal(into, JOURNAL_WRITE);
        for (int k = 0; orders[i][k] >= 0; k++) {
            must(care_merge(j, files[orders[i][k]], &taken, &e), &e);
            if (i % 2)
                judge_everybody(j);
        }
        judge_everybody(j);
        char *got = content(into);
        assert_string_equal(got, want);
        must(care_merge(j, files[SHARDS], &taken, &e), &e);
        assert_int_equal(taken, 0);
        must(care_verify(j, "test", NULL, NULL, &count, &e), &e);
        assert_int_equal(count.faults, 0);
        assert_int_equal(count.waiting, 0);
        journal_close(j);
        free(got);
    }
    free(want);
    for (int k = 0; k <= SHARDS; k++) {
        unlink(files[k]);
        free(files[k]);
    }
}

/* What singers who are new here told is copied: nothing of them waits. */
static void test_new_singers_are_not_judged_again(void **state)
{
    err e = {""};
    size_t taken = 0;
    char *other = xformat("%s-other", (char *)*state);
    make_shard(other, SHARDS);
    journal *j = open_journal(*state, JOURNAL_WRITE);
    must(care_merge(j, other, &taken, &e), &e);
    assert_int_equal(taken, TAKES);
    care_count count;
    must(care_verify(j, "test", NULL, NULL, &count, &e), &e);
    assert_int_equal(count.waiting, 0);
    assert_int_equal(count.takes, TAKES);
    journal_close(j);
    unlink(other);
    free(other);
}

static void test_what_cannot_be_merged(void **state)
{
    err e = {""};
    size_t taken;
    char *other = xformat("%s-other", (char *)*state);
    journal *j = open_journal(*state, JOURNAL_WRITE);
    put(j, 1, 0);
    judge_everybody(j);
    char *before = content(*state);
    assert_false(care_merge(j, *state, &taken, &e));
    assert_non_null(strstr(e.text, "this journal itself"));
    assert_false(care_merge(j, other, &taken, &e));
    assert_non_null(strstr(e.text, "There is no journal"));
    FILE *f = fopen(other, "w");
    assert_non_null(f);
    fputs("la la la, which is no journal", f);
    fclose(f);
    assert_false(care_merge(j, other, &taken, &e));
    assert_non_null(strstr(e.text, "is no journal"));
    char *after = content(*state);
    assert_string_equal(before, after);
    unlink(other);
    free(other);
    free(before);
    free(after);
    journal_close(j);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_order_free, new_journal, drop_journal),
        cmocka_unit_test_setup_teardown(test_new_singers_are_not_judged_again, new_journal,
                                        drop_journal),
        cmocka_unit_test_setup_teardown(test_what_cannot_be_merged, new_journal, drop_journal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
