/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What an EGG said of a take is in the journal, so that its registers are decoded from there as
 * from the sound. Oracle: what analyse says of the same recordings. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>

#include <cmocka.h>

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
    size_t flips = 0;
    check_done(run("add", "robin", sung[0], sung[1], sung[2], sung[3], "--egg", "2", "--contact",
                   "up", "--date", "2024-01-01", "--quiet"));
    for (int k = 0; k < TAKES; k++)
        flips += compare(told, sung[k]);
    size_t frames = frames_with_contact();
    print_message("%zu flips of %d takes with an EGG, the same from the journal; contact in %zu "
                  "frames\n",
                  flips, TAKES, frames);
    assert_true(flips >= 3 && frames > 500);
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
    };
    return cmocka_run_group_tests_name("EGG in the journal", tests, begin, leave_folder);
}
