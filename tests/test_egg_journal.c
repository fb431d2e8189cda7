/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What an EGG said of a take is in the journal, so that its registers are decoded from there as
 * from the sound. Oracles: what analyse says of the same recordings; made takes whose EGG is
 * known. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

#include "egg_take.h"
#include "run_program.h"

enum { TAKES = 4 };
static const char *const sung[TAKES] = {"v/take-00.wav", "v/take-01.wav", "v/take-02.wav",
                                        "v/take-03.wav"};

/* The path or name of a file without its folder. */
static const char *base(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

static char *code_of(const char *file)
{
    said s = run("takes", "robin");
    table *t = table_of(&s);
    char *take = NULL;
    for (size_t i = 0; i < t->n_rows; i++)
        if (strcmp(cell(t, i, "file"), base(file)) == 0)
            take = xstrdup(cell(t, i, "take"));
    assert_non_null(take);
    table_free(t);
    said_clear(&s);
    return take;
}

/* The flips of a take that analyse told are those of the journal, within what floats of 32 bits
 * leave. */
static size_t compare(const table *told, const char *file)
{
    char *code = code_of(file);
    said s = run("correct", code);
    table *kept = table_of(&s);
    size_t n = 0;
    for (size_t i = 0; i < told->n_rows; i++) {
        if (strcmp(base(cell(told, i, "take")), base(file)) != 0)
            continue;
        assert_true(n < kept->n_rows);
        assert_string_equal(cell(told, i, "direction"), cell(kept, n, "direction"));
        assert_true(fabs(number(told, i, "time_s") - number(kept, n, "time_s")) < 0.002);
        assert_true(fabs(number(told, i, "confidence") - number(kept, n, "confidence")) < 0.02);
        n++;
    }
    assert_int_equal(n, kept->n_rows);
    table_free(kept);
    said_clear(&s);
    free(code);
    return n;
}

/* Frames of the export in which the EGG could be believed. */
static size_t frames_with_contact(void)
{
    said s = run("export", "--records", "frame");
    table *t = table_of(&s);
    size_t n = 0;
    for (size_t i = 0; i < t->n_rows; i++)
        n += *cell(t, i, "egg_clarity") && number(t, i, "egg_clarity") > 0.6 &&
             number(t, i, "contact_quotient") > 0;
    table_free(t);
    said_clear(&s);
    return n;
}

static void test_decoded_from_the_journal(void **state)
{
    (void)state;
    said s = run("analyse", "--egg", "2", "--contact", "up", sung[0], sung[1], sung[2], sung[3]);
    table *told = table_of(&s);
    assert_non_null(strstr(s.out, "egg_tells"));
    size_t n = 0;
    check_done(run("add", "robin", sung[0], sung[1], sung[2], sung[3], "--egg", "2", "--contact",
                   "up", "--date", "2024-01-01", "--quiet"));
    for (int k = 0; k < TAKES; k++)
        n += compare(told, sung[k]);
    size_t frames = frames_with_contact();
    print_message("%zu flips of %d takes with an EGG, the same from the journal; contact in %zu "
                  "frames\n",
                  n, TAKES, frames);
    assert_true(n >= 3 && frames > 500);
    /* decoded anew, long after the sound is gone */
    char *code = code_of(sung[0]);
    check_done(run("journal", "remove", code, "--yes"));
    check_done(run("journal", "restore", code));
    for (int k = 0; k < TAKES; k++)
        compare(told, sung[k]);
    free(code);
    table_free(told);
    said_clear(&s);
}

/* The channel in which the EGG of a singer's take was heard, as `takes` says it. */
static void check_channel(const char *who, const char *file, const char *want)
{
    said s = run("takes", who);
    table *t = table_of(&s);
    size_t rows = 0;
    for (size_t i = 0; i < t->n_rows; i++)
        if (strcmp(cell(t, i, "file"), base(file)) == 0) {
            assert_string_equal(cell(t, i, "egg"), want);
            rows++;
        }
    assert_int_equal(rows, 1);
    table_free(t);
    said_clear(&s);
}

static const contact_pulse m1 = {0.08, 0.32, 0.25};
static const contact_pulse even = {0.5, 0, 0.5}; /* a sine: it tells neither way */

/* plain.wav and other.wav have an EGG in channel 2 that is found by itself, hidden.wav one that is
 * not, and even.wav one that does not tell which way contact counts. */
static void write_takes(void)
{
    write_voice("plain.wav", 44100, 220, &m1, 12);
    write_voice("other.wav", 44100, 233, &m1, 12);
    write_voice("hidden.wav", 44100, 220, &m1, 6);
    write_voice("even.wav", 44100, 220, &even, 12);
}

#define ADD(who, ...) run("add", who, __VA_ARGS__, "--quiet", "--date", "2024-01-01")

static void test_electrodes_stay(void **state)
{
    (void)state;
    write_takes();
    check_done(ADD("robin", "hidden.wav", "plain.wav"));
    check_channel("robin", "plain.wav", "2");
    check_channel("robin", "hidden.wav", "2");
    said s = ADD("robin", "hidden.wav", "plain.wav");
    assert_int_equal(count(s.out, "\tknown\t"), 2);
    said_clear(&s);
    check_done(ADD("robin", "hidden.wav", "--microphone", "2"));
    check_channel("robin", "hidden.wav", "");
}

/* What one call does not know the next one does; what was heard is never worse for it. */
static void test_electrodes_of_earlier_takes(void **state)
{
    (void)state;
    check_done(ADD("wren", "hidden.wav"));
    check_channel("wren", "hidden.wav", "");
    check_done(ADD("wren", "plain.wav"));
    check_channel("wren", "hidden.wav", "");
    said s = ADD("wren", "hidden.wav");
    assert_int_equal(count(s.out, "\theard again\t"), 1);
    said_clear(&s);
    check_channel("wren", "hidden.wav", "2");
    check_done(ADD("linnet", "plain.wav"));
    check_done(ADD("linnet", "hidden.wav"));
    check_channel("linnet", "hidden.wav", "2");
    check_done(ADD("finch", "plain.wav"));
    check_done(run("add", "finch", "hidden.wav", "--quiet", "--date", "2024-01-02"));
    check_channel("finch", "hidden.wav", "");
}

static size_t quotients_of(const char *who)
{
    said s = run("export", "--records", "frame");
    table *t = table_of(&s);
    size_t n = 0;
    for (size_t i = 0; i < t->n_rows; i++)
        n += strcmp(cell(t, i, "singer"), who) == 0 && *cell(t, i, "contact_quotient");
    table_free(t);
    said_clear(&s);
    return n;
}

static void test_way_by_other_takes(void **state)
{
    (void)state;
    said s = ADD("siskin", "even.wav", "--egg", "2");
    assert_holds(s.err, "--contact up");
    said_clear(&s);
    assert_int_equal(quotients_of("siskin"), 0);
    check_done(ADD("dunnock", "plain.wav", "other.wav", "--egg", "2"));
    size_t alone = quotients_of("dunnock");
    s = ADD("merlin", "even.wav", "plain.wav", "other.wav", "--egg", "2");
    assert_int_equal(s.code, EXIT_DONE);
    assert_null(strstr(s.err, "--contact up"));
    said_clear(&s);
    size_t with = quotients_of("merlin");
    print_message("%zu frames with a quotient, %zu beside a take that does not tell the way\n",
                  alone, with);
    assert_true(alone > 300 && with > alone + 150);
}

static int begin(void **state)
{
    char *voice = from_environment("TESTVOICE", "build/testvoice");
    int failed = !voice || enter_new_folder(state) != 0;
    char *line = xformat("%s family clear 7 v egg", voice ? voice : "");
    failed = failed || system(line) != 0;
    free(line);
    free(voice);
    return failed;
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup(test_decoded_from_the_journal, fresh),
        cmocka_unit_test_setup(test_electrodes_stay, fresh),
        cmocka_unit_test_setup(test_electrodes_of_earlier_takes, fresh),
        cmocka_unit_test_setup(test_way_by_other_takes, fresh),
    };
    return cmocka_run_group_tests_name("EGG in the journal", tests, begin, leave_folder);
}
