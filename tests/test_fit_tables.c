/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The command fit, run as a person runs it. Oracles: boundary_fit() on the same frames, the command
 * contract (rows, notes, exit codes), one sentence for each broken table. */
#include "base/array.h"
#include "base/table.h"
#include "fit/boundary.h"
#include "voice/simpath.h"

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cmocka.h>
#include <jansson.h>

static int enter_folder(void **state)
{
    char *folder = xstrdup("/tmp/test_fit_tables_XXXXXX");
    *state = folder;
    return mkdtemp(folder) && chdir(folder) == 0 ? 0 : -1;
}

static int leave_folder(void **state)
{
    char *command = xformat("rm -rf '%s'", (char *)*state);
    int failed = chdir("/") || system(command);
    free(command);
    free(*state);
    return failed ? -1 : 0;
}

/* Runs seamline fit ARGUMENTS, its output in the files out and said; gives the exit code. */
static int fit(const char *arguments)
{
    const char *program = getenv("SEAMLINE");
    assert_non_null(program);
    char *command = xformat("'%s' fit %s >out 2>said", program, arguments);
    int status = system(command);
    free(command);
    assert_true(WIFEXITED(status));
    return WEXITSTATUS(status);
}

static void write_text(const char *name, const char *text)
{
    FILE *f = fopen(name, "w");
    assert_non_null(f);
    assert_true(fputs(text, f) >= 0);
    assert_int_equal(fclose(f), 0);
}

static char *read_text(const char *name)
{
    char *text = xcalloc(100000, 1);
    FILE *f = fopen(name, "r");
    assert_non_null(f);
    size_t n = fread(text, 1, 99999, f);
    text[n] = '\0';
    fclose(f);
    return text;
}

enum { TAKES = 12 };

static void write_tracks(const char *name, const path *takes, size_t n)
{
    FILE *f = fopen(name, "w");
    assert_non_null(f);
    table_writer *w =
        table_writer_new(f, TABLE_TSV, "register voicing level_db pitch_st time_s take");
    for (size_t k = 0; k < n; k++)
        for (size_t i = 0; i < takes[k].n; i++) {
            table_count(w, takes[k].reg[i]);
            table_number(w, 1, 0);
            table_number(w, takes[k].level_db[i], 6);
            table_number(w, takes[k].pitch_st[i], 6);
            table_number(w, takes[k].time_s[i], 6);
            table_text(w, takes[k].take);
        }
    err e;
    assert_true(table_writer_close(w, &e));
    assert_int_equal(fclose(f), 0);
}

static void sing(path takes[TAKES])
{
    static const char *const names[TAKES] = {"a", "b", "c", "d", "e", "f",
                                             "g", "h", "i", "j", "k", "l"};
    simsinger s = {.at_db = 70,
                   .up_st = 64,
                   .down_st = 61,
                   .up_slope = 0.2,
                   .down_slope = 0.2,
                   .up_spread = 0.5,
                   .down_spread = 0.5,
                   .up_leap_st = 3,
                   .down_leap_st = -3};
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    for (size_t i = 0; i < TAKES; i++) {
        double level = 60 + 10 * (double)(i % 3);
        simtake t = {SIM_SLIDE, 54, 72, level, level, 2, 3, 0.01, false};
        takes[i] = simpath_new(&s, &t, names[i], r);
    }
    gsl_rng_free(r);
}

static void check_table(const table *t, const boundary *b)
{
    assert_int_equal(t->n_rows, BOUNDARY_ROWS);
    const char *columns[] = {"estimate", "lo95", "hi95"};
    for (int row = 0; row < BOUNDARY_ROWS; row++) {
        figure f = boundary_figure(b, (boundary_row)row);
        double want[] = {f.estimate, f.lo95, f.hi95}, got;
        err e;
        size_t at = (size_t)row;
        assert_string_equal(table_cell(t, at, table_column(t, "parameter")),
                            boundary_row_name((boundary_row)row));
        assert_string_equal(table_cell(t, at, table_column(t, "unit")),
                            boundary_row_unit((boundary_row)row));
        for (int k = 0; k < 3; k++) {
            assert_true(table_value(t, at, table_column(t, columns[k]), &got, &e));
            /* The tables hold six decimals, the result three. */
            assert_true(isnan(want[k]) ? isnan(got) : fabs(got - want[k]) < 0.003);
        }
        assert_int_equal(!boundary_reason(b, (boundary_row)row),
                         !table_note_value(t, boundary_row_name((boundary_row)row)));
    }
}

/* One table or two, columns in any order: what boundary_fit() gives. */
static void test_result(void **state)
{
    (void)state;
    path takes[TAKES];
    sing(takes);
    write_tracks("all.tsv", takes, TAKES);
    write_tracks("first.tsv", takes, 5);
    write_tracks("rest.tsv", takes + 5, TAKES - 5);
    static const char *const runs[] = {"--at 66 all.tsv", "first.tsv rest.tsv --at=66",
                                       "- --at 66 <all.tsv"};
    boundary_settings s = {.at_db = 66};
    boundary *b;
    err e;
    assert_true(boundary_fit(takes, TAKES, &s, &b, &e));
    for (size_t i = 0; i < sizeof runs / sizeof *runs; i++) {
        table *t;
        assert_int_equal(fit(runs[i]), 0);
        assert_true(table_read("out", &t, &e));
        assert_string_equal(table_note_value(t, "at_db"), "66.00");
        check_table(t, b);
        table_free(t);
    }
    boundary_free(b);
    for (size_t i = 0; i < TAKES; i++)
        simpath_free(&takes[i]);
}

static void test_json(void **state)
{
    (void)state;
    path takes[TAKES];
    sing(takes);
    write_tracks("all.tsv", takes, TAKES);
    assert_int_equal(fit("--format json all.tsv"), 0);
    json_error_t error;
    json_t *all = json_load_file("out", 0, &error);
    assert_non_null(all);
    json_t *rows = json_object_get(all, "rows");
    assert_int_equal(json_array_size(rows), BOUNDARY_ROWS);
    json_t *up = json_array_get(rows, BOUNDARY_UP_PITCH);
    assert_string_equal(json_string_value(json_object_get(up, "parameter")), "up.pitch");
    assert_true(fabs(json_number_value(json_object_get(up, "estimate")) - 64) < 2);
    json_decref(all);
    for (size_t i = 0; i < TAKES; i++)
        simpath_free(&takes[i]);
}

static void assert_says(const char *words)
{
    char *said = read_text("said");
    assert_non_null(strstr(said, words));
    free(said);
}

/* M1 throughout, rising; register 0 and empty alike are no register. */
static void test_no_answer(void **state)
{
    (void)state;
    FILE *f = fopen("m1.tsv", "w");
    assert_non_null(f);
    fputs("take\ttime_s\tpitch_st\tlevel_db\tregister\n", f);
    for (int i = 0; i < 300; i++)
        fprintf(f, "a\t%.3f\t%.2f\t70\t1\n", 0.01 * i, 50 + 0.05 * i);
    assert_int_equal(fclose(f), 0);
    assert_int_equal(fit("m1.tsv"), 3);
    err e;
    table *t;
    assert_true(table_read("out", &t, &e));
    assert_int_equal(t->n_rows, BOUNDARY_ROWS);
    assert_string_equal(table_note_value(t, "up.pitch"),
                        "never flipped up: M1 lasted up to F4 in 1 attempt at 70.0 to 70.0 dB");
    table_free(t);
    assert_says("never flipped up");
    write_text("none.tsv", "take\ttime_s\tpitch_st\tlevel_db\tregister\n"
                           "a\t0\t60\t70\t\na\t0.01\t60\t70\t0\n");
    assert_int_equal(fit("none.tsv"), 3);
    write_text("head.tsv", "take\ttime_s\tpitch_st\tlevel_db\tregister\n");
    assert_int_equal(fit("head.tsv"), 3);
    assert_says("no rows below its header");
    /* A label too short to count is no M1 that was never heard. */
    write_text("short.tsv", "take\ttime_s\tpitch_st\tlevel_db\tregister\na\t0\t60\t70\t1\n");
    assert_int_equal(fit("short.tsv"), 3);
    assert_says("M1 was never heard for long enough");
}

/* Levels that nothing was sung near, and takes that come twice. */
static void test_warned(void **state)
{
    (void)state;
    path takes[TAKES];
    sing(takes);
    write_tracks("all.tsv", takes, TAKES);
    write_tracks("first.tsv", takes, 1);
    assert_int_equal(fit("all.tsv --at 150"), 3);
    assert_says("Nothing is known of the voice at 150.0 dB");
    assert_int_equal(fit("all.tsv first.tsv"), 0);
    assert_says("Take a has the same frames as take a before it");
    assert_int_equal(fit("all.tsv"), 0);
    char *said = read_text("said");
    assert_string_equal(said, "");
    free(said);
    for (size_t i = 0; i < TAKES; i++)
        simpath_free(&takes[i]);
}

#define HEAD "take\ttime_s\tpitch_st\tlevel_db\tregister\tp_m2\n"

/* Each broken table has one sentence with the file, the line and what is wrong. */
static void test_broken_tables(void **state)
{
    (void)state;
    static const struct {
        const char *text, *said;
    } broken[] = {
        {"take\ttime_s\tpitch_st\tlevel_db\na\t0\t60\t70\n", "no column register"},
        {HEAD "a\t0\t60\t70\t1\t0\na\t0\t60\t70\t1\t0\n", "line 3: time_s is 0 after 0"},
        {HEAD "a\t1\t60\t70\t1\t0\na\t0.5\t60\t70\t1\t0\n", "line 3: time_s is 0.5 after 1"},
        {HEAD "a\t\t60\t70\t1\t0\n", "line 2: time_s is empty"},
        {HEAD "a\t0\tA4\t70\t1\t0\n", "line 2"},
        {HEAD "a\t0\t60\t70\tM1\t0\n", "line 2: register is M1"},
        {HEAD "a\t0\t60\t70\t3\t0\n", "line 2: register is 3"},
        {HEAD "a\t0\t60\t70\t1\t1.5\n", "line 2: p_m2 is 1.5"},
        {HEAD "a\t0\t60\t70\t1\t0\nb\t0\t60\t70\t1\t0\na\t1\t60\t70\t1\t0\n",
         "line 4: take a comes back"},
        {HEAD "a\t0\t220\t70\t1\t0\n", "line 2: pitch_st is 220"},
        {HEAD "a\t0\t60\t900\t1\t0\n", "line 2: level_db is 900"},
        {HEAD "a\t0\t60\t70\t1\t0\na\t10\t60\t70\t1\t0\n", "take a are 10 s apart"},
        {"", "broken.tsv"},
    };
    for (size_t i = 0; i < sizeof broken / sizeof *broken; i++) {
        write_text("broken.tsv", broken[i].text);
        int code = fit("broken.tsv");
        char *said = read_text("said");
        if (code != 1 || !strstr(said, broken[i].said) || !strstr(said, "broken.tsv") ||
            strchr(said, '\n') != said + strlen(said) - 1)
            fail_msg("table %zu: exit %d, said %s", i, code, said);
        free(said);
    }
    assert_int_equal(fit("missing.tsv"), 1);
    assert_int_equal(fit(""), 2);
    assert_int_equal(fit("--at loud broken.tsv"), 2);
}

/* One bad table among good ones: its sentence, the result of the others, exit 1. */
static void test_one_bad(void **state)
{
    (void)state;
    path takes[TAKES];
    sing(takes);
    write_tracks("all.tsv", takes, TAKES);
    assert_int_equal(fit("missing.tsv all.tsv"), 1);
    err e;
    table *t;
    assert_true(table_read("out", &t, &e));
    assert_int_equal(t->n_rows, BOUNDARY_ROWS);
    table_free(t);
    assert_says("missing.tsv");
    for (size_t i = 0; i < TAKES; i++)
        simpath_free(&takes[i]);
}

/* A thousand takes of two to four seconds in under a second of the processor's time; not where the
 * compiler was told not to make haste. */
static void test_thousand_takes(void **state)
{
    (void)state;
    enum { MANY = 1000, TRIES = 6 };
    const simsinger s = {.at_db = 70,
                         .up_st = 64,
                         .down_st = 61,
                         .up_slope = 0.2,
                         .down_slope = 0.2,
                         .up_spread = 0.6,
                         .down_spread = 0.6,
                         .offset_st = 0.3};
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    FILE *f = fopen("many.tsv", "w");
    assert_non_null(f);
    fputs("take\ttime_s\tpitch_st\tlevel_db\tregister\n", f);
    for (int k = 0; k < MANY; k++) {
        double level = 60 + 20 * gsl_rng_uniform(r);
        simtake t = {SIM_SLIDE, 54, 74, level, level, 2, 2 + 2 * gsl_rng_uniform(r), 0.005, false};
        path p = simpath_new(&s, &t, "take", r);
        for (size_t i = 0; i < p.n; i++)
            fprintf(f, "%d\t%.3f\t%.3f\t%.2f\t%d\n", k, p.time_s[i], p.pitch_st[i], p.level_db[i],
                    p.reg[i]);
        simpath_free(&p);
    }
    assert_int_equal(fclose(f), 0);
    gsl_rng_free(r);
    double least = INFINITY;
    for (int k = 0; k < TRIES; k++) {
        struct rusage before, after;
        getrusage(RUSAGE_CHILDREN, &before);
        assert_int_equal(fit("many.tsv"), 0);
        getrusage(RUSAGE_CHILDREN, &after);
        least = fmin(least, (double)(after.ru_utime.tv_sec - before.ru_utime.tv_sec) +
                                1e-6 * (double)(after.ru_utime.tv_usec - before.ru_utime.tv_usec));
    }
    printf("%d takes: %.2f s of processor time\n", MANY, least);
#if defined __OPTIMIZE__ && !defined __SANITIZE_ADDRESS__
    assert_true(least < 1);
#endif
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_result),    cmocka_unit_test(test_json),
        cmocka_unit_test(test_no_answer), cmocka_unit_test(test_broken_tables),
        cmocka_unit_test(test_one_bad),   cmocka_unit_test(test_thousand_takes),
        cmocka_unit_test(test_warned),
    };
    return cmocka_run_group_tests(tests, enter_folder, leave_folder);
}
