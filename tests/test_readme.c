/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The README holds: its examples run as they stand there, on the takes of a clear test voice, and
 * its table names the commands. Oracles for what the examples print: the truth beside the takes,
 * the contract of the tables, and that the same sound gives the same rows in whatever file. */
#include "base/array.h"
#include "base/process.h"
#include "base/table.h"

#include <fcntl.h>
#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

enum { RATE = 48000, EXAMPLES = 32 };

typedef struct example {
    char *line, *out; /* what is typed; the file that its result went to */
} example;

static char *readme;

static char *read_file(const char *path)
{
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    size_t room = 0, got, n = 0;
    char *text = NULL;
    do {
        array_reserve((void **)&text, &room, n + 65537, 1);
        got = fread(text + n, 1, 65536, f);
        n += got;
    } while (got);
    text[n] = '\0';
    fclose(f);
    return text;
}

/* Runs a line as a shell would, its result into a file. */
static void type(const char *line, const char *out)
{
    const char *const argv[] = {"sh", "-c", line, NULL};
    int fd = open(out, O_CREAT | O_TRUNC | O_WRONLY, 0666), status = -1;
    print_message("$ %s\n", line);
    assert_int_equal(process_run(argv, NULL, 0, fd, STDERR_FILENO, &status), PROCESS_DONE);
    close(fd);
    assert_int_equal(status, 0);
}

static table *open_table(const char *path)
{
    table *t = NULL;
    err e = {""};
    if (!table_read(path, &t, &e))
        fail_msg("%s", e.text);
    return t;
}

static double number(const table *t, size_t row, const char *column)
{
    err e = {""};
    double value = 0;
    assert_true(table_column(t, column) >= 0);
    if (!table_value(t, row, table_column(t, column), &value, &e))
        fail_msg("%s", e.text);
    return value;
}

static const char *text(const table *t, size_t row, const char *column)
{
    assert_true(table_column(t, column) >= 0);
    return table_cell(t, row, table_column(t, column));
}

/* The README's table of commands names every command that the program has. */
static void test_commands(void **state)
{
    (void)state;
    type("seamline --help | sed -n '/^Commands:/,/^$/s/^  \\([a-z]*\\) .*/\\1/p'", "commands");
    char *words = read_file(readme), *list = read_file("commands"), *rest = list;
    size_t n = 0;
    for (char *name; (name = strtok_r(rest, "\n", &rest)); n++) {
        char *alone = xformat("`%s`", name), *with = xformat("`%s ", name);
        if (!strstr(words, alone) && !strstr(words, with))
            fail_msg("README.md does not name the command %s", name);
        free(alone);
        free(with);
    }
    assert_true(n >= 6);
    free(words);
    free(list);
}

/* Every line of a block that begins with ```sh runs, prints something and exits with 0. */
static void test_examples(void **state)
{
    example *examples = *state;
    char *words = read_file(readme), *rest = words;
    size_t n = 0;
    bool open = false;
    for (char *line; (line = strtok_r(rest, "\n", &rest));) {
        if (strncmp(line, "```", 3) == 0) {
            open = strcmp(line, "```sh") == 0;
        } else if (open) {
            assert_true(n < EXAMPLES);
            const char *to = strstr(line, " > ");
            char *out = xformat("out-%zu", n);
            type(line, out);
            examples[n++] = (example){xstrdup(line), to ? xstrdup(to + 3) : xstrdup(out)};
            struct stat st;
            assert_int_equal(stat(examples[n - 1].out, &st), 0);
            assert_true(st.st_size > 0);
            free(out);
        }
    }
    free(words);
    assert_true(n >= 6);
}

/* What the example that begins with these words printed. */
static table *printed(const example *examples, const char *begins)
{
    for (size_t i = 0; i < EXAMPLES && examples[i].line; i++)
        if (strncmp(examples[i].line, begins, strlen(begins)) == 0)
            return open_table(examples[i].out);
    fail_msg("README.md has no example: %s", begins);
    return NULL;
}

static bool same_flip(const table *found, size_t k, const table *sung, size_t i)
{
    return strstr(text(found, k, "take"), text(sung, i, "take")) &&
           strcmp(text(found, k, "direction"), text(sung, i, "direction")) == 0 &&
           fabs(number(found, k, "time_s") - number(sung, i, "time_s")) <= 0.06;
}

/* Asserted flips against those sung: F1 of 0.7 or more, which is asked of every family of voices
 * (make accuracy measures it on many). */
static void test_flips(void **state)
{
    table *found = printed(*state, "seamline analyse takes"), *sung = open_table("takes/flips.tsv");
    size_t asserted = 0, right = 0;
    for (size_t k = 0; k < found->n_rows; k++) {
        double confidence = number(found, k, "confidence");
        assert_true(confidence >= 0 && confidence <= 1);
        assert_true(number(found, k, "span_ms") > 0);
        bool hit = false;
        for (size_t i = 0; i < sung->n_rows; i++)
            hit = hit || same_flip(found, k, sung, i);
        asserted += confidence >= 0.5;
        right += confidence >= 0.5 && hit;
    }
    print_message("%zu of %zu asserted flips are among the %zu sung\n", right, asserted,
                  sung->n_rows);
    assert_true(sung->n_rows >= 5);
    assert_true(2 * (double)right >= 0.7 * (double)(asserted + sung->n_rows));
    table_free(found);
    table_free(sung);
}

/* Frames every 5 ms; a register only where there is a pitch, 1, 2 or not to be told. */
static void test_tracks(void **state)
{
    table *t = printed(*state, "seamline analyse --tracks");
    assert_true(t->n_rows > 10000);
    for (size_t i = 1; i < t->n_rows; i++) {
        const char *reg = text(t, i, "register");
        assert_true(strcmp(reg, "1") == 0 || strcmp(reg, "2") == 0 || !*reg);
        assert_true(*text(t, i, "pitch_st") || !*reg);
        if (strcmp(text(t, i, "take"), text(t, i - 1, "take")) == 0)
            assert_true(fabs(number(t, i, "time_s") - number(t, i - 1, "time_s") - 0.005) < 1e-9);
    }
    table_free(t);
}

static void test_boundary(void **state)
{
    static const char *const rows[] = {"up.pitch",   "up.slope",   "up.spread",
                                       "down.pitch", "down.slope", "down.spread",
                                       "hysteresis", "up.leap",    "down.leap"};
    static const char *const from[] = {"seamline fit", "seamline map"};
    for (size_t k = 0; k < 2; k++) {
        table *t = printed(*state, from[k]);
        assert_true(t->n_rows >= sizeof rows / sizeof *rows); /* map has more below */
        assert_non_null(table_note_value(t, "at_db"));
        for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
            double lo = number(t, i, "lo95"), at = number(t, i, "estimate");
            assert_string_equal(text(t, i, "parameter"), rows[i]);
            assert_true(isnan(at) || (lo <= at && at <= number(t, i, "hi95")));
        }
        table_free(t);
    }
}

static void test_picture(void **state)
{
    (void)state;
    char *png = read_file("robin.png");
    assert_memory_equal(png, "\x89PNG\r\n\x1a\n", 8);
    free(png);
}

static float *read_samples(const char *path, SF_INFO *info)
{
    SNDFILE *f = sf_open(path, SFM_READ, info);
    assert_non_null(f);
    float *x = xmalloc((size_t)(info->frames * info->channels), sizeof *x);
    assert_int_equal(sf_readf_float(f, x, info->frames), info->frames);
    sf_close(f);
    return x;
}

static void write_samples(const char *path, int format, const float *x, size_t frames)
{
    SF_INFO info = {.samplerate = RATE, .channels = 1, .format = format};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    assert_non_null(f);
    assert_int_equal(sf_writef_float(f, x, (sf_count_t)frames), frames);
    sf_close(f);
}

/* The rows of a command's table of frames without the name of the take, as one text. */
static char *rows_of(const char *line)
{
    char *without = xformat("%s | grep -v '^#' | cut -f 2-", line);
    type(without, "rows");
    free(without);
    return read_file("rows");
}

static void assert_same_rows(const char *want, const char *line)
{
    char *rows = rows_of(line);
    assert_string_equal(rows, want);
    free(rows);
}

/* The same samples as FLAC, through a pipe and as part of a longer file. */
static void test_same_sound_same_rows(void **state)
{
    (void)state;
    SF_INFO info = {0};
    float *x = read_samples("takes/take-00.wav", &info);
    assert_int_equal(info.samplerate, RATE);
    size_t n = (size_t)info.frames;
    write_samples("take.flac", SF_FORMAT_FLAC | (info.format & SF_FORMAT_SUBMASK), x, n);
    float *longer = xcalloc(n + RATE, sizeof *longer);
    memcpy(longer + RATE, x, n * sizeof *x);
    write_samples("longer.wav", SF_FORMAT_WAV | SF_FORMAT_FLOAT, longer, n + RATE);
    free(longer);
    free(x);
    char *want = rows_of("seamline analyse --tracks takes/take-00.wav");
    char *part = xformat("seamline analyse --tracks longer.wav@1-%.6f", 1 + (double)n / RATE);
    assert_same_rows(want, "seamline analyse --tracks take.flac");
    assert_same_rows(want, "seamline analyse --tracks - < takes/take-00.wav");
    assert_same_rows(want, "cat takes/take-00.wav | seamline analyse --tracks -");
    assert_same_rows(want, part);
    free(want);
    free(part);
}

static char *program(const char *variable, const char *usual)
{
    const char *named = getenv(variable);
    return realpath(named ? named : usual, NULL);
}

/* The program on the PATH, an empty journal, and ten takes of a clear voice (seed 3: 48 kHz) in the
 * folder "takes". */
static int enter(void **state)
{
    static char folder[] = "/tmp/seamline-test-XXXXXX";
    char *seamline = program("SEAMLINE", "build/seamline");
    char *testvoice = program("TESTVOICE", "build/testvoice");
    readme = realpath("README.md", NULL);
    if (!seamline || !testvoice || !readme || !mkdtemp(folder) || chdir(folder) != 0)
        return 1;
    char *path =
        xformat("%.*s:%s", (int)(strrchr(seamline, '/') - seamline), seamline, getenv("PATH"));
    setenv("PATH", path, 1);
    setenv("XDG_DATA_HOME", folder, 1);
    unsetenv("SEAMLINE_JOURNAL");
    unsetenv("DISPLAY");
    unsetenv("WAYLAND_DISPLAY");
    const char *const argv[] = {testvoice, "family", "clear", "3", "takes", NULL};
    int status = -1;
    process_run(argv, NULL, 0, STDOUT_FILENO, STDERR_FILENO, &status);
    free(path);
    free(seamline);
    free(testvoice);
    *state = xcalloc(EXAMPLES, sizeof(example));
    return status;
}

static int leave(void **state)
{
    example *examples = *state;
    for (size_t i = 0; i < EXAMPLES; i++) {
        free(examples[i].line);
        free(examples[i].out);
    }
    free(examples);
    free(readme);
    return system("rm -r \"$XDG_DATA_HOME\"");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_commands),
        cmocka_unit_test(test_examples),
        cmocka_unit_test(test_flips),
        cmocka_unit_test(test_tracks),
        cmocka_unit_test(test_boundary),
        cmocka_unit_test(test_picture),
        cmocka_unit_test(test_same_sound_same_rows),
    };
    return cmocka_run_group_tests_name("readme", tests, enter, leave);
}
