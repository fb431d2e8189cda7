/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef CALL_PROGRAM_H
#define CALL_PROGRAM_H

/* The program called on a journal of made-up takes, what it prints and draws beside the journal.
 * Include after cmocka.h. */

#include "base/process.h"
#include "base/table.h"

#include <fcntl.h>

#include "fill_journal.h"

enum { MOST_CALLED = 12 };

/* The journal's name with an ending, in the folder that the test may write to. */
static inline char *beside(void **state, const char *ending)
{
    return xformat("%s%s", (char *)*state, ending);
}

/* The journal of these takes. */
static inline int fill_studio(void **state, const sung *studio, size_t n)
{
    unsetenv("DISPLAY");
    unsetenv("WAYLAND_DISPLAY");
    if (new_journal(state) != 0)
        return -1;
    journal_close(fill(*state, studio, n));
    return 0;
}

static inline int drop_studio(void **state)
{
    static const char *const parts[] = {".out", ".said", ".png"};
    for (size_t i = 0; i < N_OF(parts); i++) {
        char *part = beside(state, parts[i]);
        unlink(part);
        free(part);
    }
    return drop_journal(state);
}

/* seamline with these arguments on the test's journal; gives its exit code. A NULL ends them. */
static inline int call_list(void **state, const char *const *args)
{
    const char *argv[MOST_CALLED + 4] = {getenv("SEAMLINE"), "--journal", *state};
    char *out = beside(state, ".out"), *said = beside(state, ".said");
    int out_fd = open(out, O_CREAT | O_TRUNC | O_WRONLY, 0600), code = -1;
    int said_fd = open(said, O_CREAT | O_TRUNC | O_WRONLY, 0600);
    if (!argv[0])
        fail_msg("SEAMLINE does not say where the program is");
    for (size_t i = 0; args[i]; i++) {
        assert_true(i < MOST_CALLED);
        argv[i + 3] = args[i];
    }
    assert_true(out_fd >= 0 && said_fd >= 0);
    assert_int_equal(process_run(argv, "", 0, out_fd, said_fd, &code), PROCESS_DONE);
    close(out_fd);
    close(said_fd);
    free(out);
    free(said);
    return code;
}
#define call(state, ...) call_list(state, (const char *const[]){__VA_ARGS__, NULL})

static inline void assert_says(void **state, const char *ending, const char *wanted)
{
    char *file = beside(state, ending), text[16384];
    FILE *f = fopen(file, "r");
    assert_non_null(f);
    size_t n = fread(text, 1, sizeof text - 1, f);
    text[n] = '\0';
    fclose(f);
    if (!strstr(text, wanted))
        fail_msg("\"%s\" is not in: %s", wanted, text);
    free(file);
}

static inline table *result(void **state)
{
    err e = {""};
    table *t;
    char *file = beside(state, ".out");
    must(table_read(file, &t, &e), &e);
    free(file);
    return t;
}

#endif
