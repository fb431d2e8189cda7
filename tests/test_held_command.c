/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The command held, as a person calls it. Oracles: takes made to move in pitch alone at a level
 * that stays, or not at all; a tone of closed form in a file. */
#include "base/process.h"
#include "base/table.h"

#include <fcntl.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>
#include <sys/stat.h>

#include <cmocka.h>

#include "fill_journal.h"

enum { RATE = 24000 };
#define NONE ((double)NAN)
static const sung takes[] = {
    {"wren", "2025-01-01", "a", NULL, -30, NONE, 900, LEVEL, PITCH, DECLARED_NONE, true},
    {"wren", "2025-02-01", "a", NULL, -30, NONE, 900, UNSTATED, UNSTATED, DECLARED_NONE, true},
    {"wren", "2025-03-01", "a", NULL, -30, NONE, 900, REGISTER, PITCH, DECLARED_NONE, true},
};

typedef struct said {
    int code;
    table *t; /* NULL unless the code is 0 */
    char err[2048];
} said;

/* seamline on the test's journal, up to six arguments. */
static said call(void **state, const char *const *args)
{
    const char *program = getenv("SEAMLINE");
    const char *argv[10] = {program, "--journal", *state};
    char *out = xformat("%s.out", (char *)*state), *err_file = xformat("%s.err", (char *)*state);
    int out_fd = open(out, O_CREAT | O_TRUNC | O_WRONLY, 0600);
    int err_fd = open(err_file, O_CREAT | O_TRUNC | O_RDWR, 0600);
    said s = {.code = -1};
    err e = {""};
    if (!program)
        fail_msg("SEAMLINE does not say where the program is");
    for (size_t i = 0; args[i]; i++)
        argv[3 + i] = args[i];
    assert_int_equal(process_run(argv, "", 0, out_fd, err_fd, &s.code), PROCESS_DONE);
    ssize_t n = pread(err_fd, s.err, sizeof s.err - 1, 0);
    s.err[n > 0 ? n : 0] = '\0';
    close(out_fd);
    close(err_fd);
    if (s.code == 0)
        must(table_read(out, &s.t, &e), &e);
    unlink(out);
    unlink(err_file);
    free(out);
    free(err_file);
    return s;
}
#define CALL(...) call(state, (const char *const[]){__VA_ARGS__, NULL})

static int fill_takes(void **state)
{
    if (new_journal(state) != 0)
        return -1;
    journal_close(fill(*state, takes, N_OF(takes)));
    return 0;
}

static void is(const table *t, size_t row, const char *column, const char *wanted)
{
    assert_string_equal(table_cell(t, row, table_column(t, column)), wanted);
}

static double number(const table *t, size_t row, const char *column)
{
    double value;
    err e = {""};
    assert_true(table_column(t, column) >= 0);
    must(table_value(t, row, table_column(t, column), &value, &e), &e);
    return value;
}

static void test_singer(void **state)
{
    said s = CALL("held", "wren");
    assert_int_equal(s.code, 0);
    assert_int_equal(s.t->n_rows, 3);
    for (size_t i = 0; i < 3; i++) {
        is(s.t, i, "moved", "pitch"); /* both registers, no silence and no flip between them */
        is(s.t, i, "untold", "register");
        /* 54 to 70 as a triangle of 2.25 s a side; 0.35 s at the ends have no whole window */
        double range_st = 0.9 * 16 * (1 - 0.35 / 2.25);
        assert_true(fabs(number(s.t, i, "pitch_range_st") - range_st) < 0.3);
        assert_true(fabs(number(s.t, i, "db_per_octave")) < 1e-6);
    }
    is(s.t, 0, "held", "level");
    is(s.t, 0, "varied", "pitch");
    is(s.t, 0, "exercise", "vary pitch, hold level");
    is(s.t, 0, "leak_unit", "dB/octave");
    is(s.t, 0, "level_steady_db", "0.00");
    is(s.t, 0, "pitch_steady_cents", "");
    is(s.t, 1, "held", "unknown");
    is(s.t, 1, "varied", "unknown");
    is(s.t, 1, "exercise", "unknown");
    is(s.t, 2, "held", "none");
    is(s.t, 2, "exercise", "vary pitch, hold register");
    is(s.t, 2, "date", "2025-03-01");
    table_free(s.t);
}

static void test_sessions(void **state)
{
    char *picture = xformat("%s held.svg", (char *)*state);
    said s = CALL("held", "wren", "--sessions", "-o", picture);
    if (s.code != 0)
        fail_msg("%s", s.err);
    assert_int_equal(s.t->n_rows, 3);
    is(s.t, 0, "date", "2025-01-01");
    is(s.t, 0, "exercise", "vary pitch, hold level");
    is(s.t, 0, "takes", "1");
    is(s.t, 0, "all_held", "1");
    is(s.t, 0, "level_steady_db", "0.00");
    is(s.t, 0, "leak_unit", "dB/octave");
    is(s.t, 1, "exercise", "unknown");
    is(s.t, 1, "all_held", "");
    is(s.t, 2, "exercise", "vary pitch, hold register");
    is(s.t, 2, "all_held", "0");
    is(s.t, 2, "leak_unit", "flips");
    struct stat st;
    assert_int_equal(stat(picture, &st), 0);
    assert_true(st.st_size > 2000);
    unlink(picture);
    free(picture);
    table_free(s.t);
    assert_int_equal(CALL("held", "--files", "a.wav", "--sessions").code, 2);
    assert_int_equal(CALL("held", "wren", "-o", "held.doc").code, 2);
}

static void write_tone(const char *path)
{
    SF_INFO info = {.samplerate = RATE, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    assert_non_null(f);
    double turn = 0;
    for (int i = 0; i < 5 * RATE; i++) {
        double at = (double)i / RATE, wave = 0;
        turn += 2 * M_PI * 220 * pow(2, 0.5 / 12 * sin(2 * M_PI * 6 * at)) / RATE;
        for (int h = 1; h <= 6; h++)
            wave += sin(h * turn) / h;
        double sample = 0.1 * fmin(1, 20 * fmin(at, 5 - at)) * wave;
        assert_int_equal(sf_writef_double(f, &sample, 1), 1);
    }
    sf_close(f);
}

static void test_files(void **state)
{
    char *path = xformat("%s tone.wav", (char *)*state);
    write_tone(path);
    said s = CALL("held", "--files", path, "--hold=pitch,level", "--vary=register");
    assert_int_equal(s.code, 0);
    assert_int_equal(s.t->n_rows, 1);
    is(s.t, 0, "take", path);
    is(s.t, 0, "moved", "none");
    is(s.t, 0, "held", "pitch,level");
    is(s.t, 0, "varied", "none");
    is(s.t, 0, "exercise", "vary register, hold pitch and level");
    assert_true(number(s.t, 0, "pitch_steady_cents") < 3);
    assert_true(number(s.t, 0, "level_steady_db") < 0.3);
    assert_true(fabs(number(s.t, 0, "vibrato_hz") - 6) < 0.1);
    assert_true(fabs(number(s.t, 0, "vibrato_cents") - 50) < 5);
    table_free(s.t);
    s = CALL("held", "--files", path, "--vowel=m"); /* hummed */
    is(s.t, 0, "moved", "none");
    is(s.t, 0, "untold", "register");
    table_free(s.t);
    s = CALL("held", "--files", path, "/nowhere/is.wav"); /* the rest goes on */
    assert_int_equal(s.code, 1);
    assert_non_null(strstr(s.err, "/nowhere/is.wav"));
    unlink(path);
    free(path);
}

static void test_refused(void **state)
{
    said s = CALL("held", "wrem");
    assert_int_equal(s.code, 1);
    assert_non_null(strstr(s.err, "wren"));
    assert_int_equal(CALL("held").code, 2);
    assert_int_equal(CALL("held", "wren", "owl").code, 2);
    assert_int_equal(CALL("held", "wren", "--hold=pitch").code, 2);
    assert_int_equal(CALL("held", "--files", "a.wav", "--hold=loudness").code, 2);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_singer),
        cmocka_unit_test(test_sessions),
        cmocka_unit_test(test_files),
        cmocka_unit_test(test_refused),
    };
    return cmocka_run_group_tests(tests, fill_takes, drop_journal);
}
