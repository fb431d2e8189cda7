/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef RUN_PROGRAM_H
#define RUN_PROGRAM_H

/* The program run as a process in a folder of the test's own, with the journal j.db there. Include
 * after cmocka.h. */

#include "base/array.h"
#include "base/process.h"
#include "base/table.h"

#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

enum { EXIT_DONE, EXIT_INPUT, EXIT_USAGE, EXIT_NO_ANSWER, MOST_ARGS = 24 };

static inline char *from_environment(const char *name, const char *otherwise)
{
    const char *value = getenv(name);
    return realpath(value && *value ? value : otherwise, NULL);
}

static inline const char *program(void)
{
    return getenv("SEAMLINE_HERE");
}

static char *read_file(const char *path)
{
    FILE *f = fopen(path, "rb");
    assert_non_null(f);
    size_t room = 0, n = 0, got;
    char *text = NULL;
    do {
        array_reserve((void **)&text, &room, n + 65536, 1);
        got = fread(text + n, 1, room - n - 1, f);
        n += got;
    } while (got);
    text[n] = '\0';
    fclose(f);
    return text;
}

static inline size_t count(const char *text, const char *part)
{
    size_t n = 0;
    for (; (text = strstr(text, part)); text += strlen(part))
        n++;
    return n;
}

static inline void assert_holds(const char *text, const char *part)
{
    if (!strstr(text, part))
        fail_msg("no %s in %s", part, text);
}

static inline void write_file(const char *path, const char *text)
{
    FILE *f = fopen(path, "wb");
    assert_non_null(f);
    assert_true(fputs(text, f) >= 0);
    assert_int_equal(fclose(f), 0);
}

typedef struct said {
    int code;
    char *out, *err;
} said;

static inline void said_clear(said *s)
{
    free(s->out);
    free(s->err);
}

/* Runs the program with these arguments; NULL ends them. */
static inline said run_list(const char *const *args)
{
    const char *argv[MOST_ARGS + 2] = {program()};
    for (size_t i = 0; args[i]; i++) {
        assert_true(i < MOST_ARGS);
        argv[i + 1] = args[i];
    }
    int out = open("stdout", O_RDWR | O_CREAT | O_TRUNC, 0600);
    int errors = open("stderr", O_RDWR | O_CREAT | O_TRUNC, 0600);
    said s;
    assert_int_equal(process_run(argv, "", 0, out, errors, &s.code), PROCESS_DONE);
    close(out);
    close(errors);
    s.out = read_file("stdout");
    s.err = read_file("stderr");
    return s;
}

#define run(...) run_list((const char *const[]){__VA_ARGS__, NULL})

static inline size_t lines(const char *text)
{
    size_t n = 0;
    for (; *text; text++)
        n += *text == '\n';
    return n;
}

/* Every line on stderr is a whole sentence by the program. */
static inline void check_sentences(const char *text)
{
    while (*text) {
        size_t n = strcspn(text, "\n");
        if (strncmp(text, "seamline: ", 10) != 0 || n < 20)
            fail_msg("no sentence: %s", text);
        text += n + (text[n] == '\n');
    }
}

/* Exactly one sentence, which holds `part`, and this exit code. */
static inline void check_refused(said s, int code, const char *part)
{
    check_sentences(s.err);
    if (s.code != code || lines(s.err) != 1 || !strstr(s.err, part))
        fail_msg("exit %d, stderr: %s\nexpected exit %d and: %s", s.code, s.err, code, part);
    said_clear(&s);
}

static inline void check_done(said s)
{
    check_sentences(s.err);
    if (s.code != EXIT_DONE)
        fail_msg("exit %d: %s", s.code, s.err);
    said_clear(&s);
}

static inline table *table_of(const said *s)
{
    table *t;
    err e;
    write_file("table", s->out);
    if (!table_read("table", &t, &e))
        fail_msg("%s", e.text);
    return t;
}

static inline char *all_exported(void)
{
    said s = run("export");
    if (s.code != EXIT_DONE)
        fail_msg("export: %s", s.err);
    free(s.err);
    return s.out;
}

/* Each take whose name begins a line of `rows` is in `all`, an export; how many there are. */
static inline size_t check_there(const char *rows, const char *all, const char *what)
{
    size_t n = 0;
    for (const char *at = rows; *at;) {
        size_t length = strcspn(at, "\n"), digits = strspn(at, "0123456789abcdef");
        if (at[length] && at[digits] == '\t' && digits >= 10) {
            char *name = xformat("\t%.*s", (int)digits, at);
            if (!strstr(all, name))
                fail_msg("%s: take %s was reported and is not there", what, name + 1);
            free(name);
            n++;
        }
        at += length + (at[length] == '\n');
    }
    return n;
}

static inline size_t rows_of(const said *s)
{
    table *t = table_of(s);
    size_t n = t->n_rows;
    table_free(t);
    return n;
}

static inline const char *cell(const table *t, size_t row, const char *column)
{
    int c = table_column(t, column);
    assert_true(c >= 0);
    return table_cell(t, row, c);
}

static inline double number(const table *t, size_t row, const char *column)
{
    double value;
    err e;
    assert_true(table_value(t, row, table_column(t, column), &value, &e));
    return value;
}

static inline int enter_new_folder(void **state)
{
    char *found = from_environment("SEAMLINE", "build/seamline");
    char *folder = xstrdup("/tmp/test_program_XXXXXX");
    *state = folder;
    if (!found || !mkdtemp(folder) || chdir(folder) != 0)
        return -1;
    setenv("SEAMLINE_HERE", found, 1);
    setenv("HOME", folder, 1);
    unsetenv("XDG_DATA_HOME");
    unsetenv("SEAMLINE_JOURNAL");
    free(found);
    return 0;
}

static inline int leave_folder(void **state)
{
    char *command = xformat("rm -rf '%s'", (char *)*state);
    int failed = chdir("/") != 0 || system(command) != 0;
    free(command);
    free(*state);
    return failed;
}

/* A test begins without a journal. */
static inline int fresh(void **state)
{
    (void)state;
    unlink("j.db");
    setenv("SEAMLINE_JOURNAL", "j.db", 1);
    return 0;
}

#endif
