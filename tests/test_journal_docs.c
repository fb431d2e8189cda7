/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The example in docs/journal.md reads a journal as it stands there. Oracle: what the program reads
 * of the same take. */
#include "base/process.h"

#include <fcntl.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/wait.h>

#include <cmocka.h>

#include "fill_journal.h"
#include "journal_file.h"

static const sung takes[] = {
    {"wren", "2024-01-01", "a", NULL, -30, NAN, 400, UNSTATED, UNSTATED, DECLARED_NONE, true}};

/* The block of the page that begins with ```python. */
static char *example(void)
{
    FILE *f = fopen("docs/journal.md", "rb");
    assert_non_null(f);
    char *page = xcalloc(1 << 16, 1);
    assert_true(fread(page, 1, (1 << 16) - 1, f) > 1000);
    fclose(f);
    char *begin = strstr(page, "```python\n");
    assert_non_null(begin);
    char *end = strstr(begin + 10, "```");
    assert_non_null(end);
    char *text = xformat("%.*s", (int)(end - begin - 10), begin + 10);
    free(page);
    return text;
}

static void test_python(void **state)
{
    journal *j = open_journal(*state, JOURNAL_WRITE);
    track *t = track_of(&takes[0]);
    for (size_t f = 0; f < t->n; f += 3)
        for (size_t h = 0; h < TRACK_HARMONICS; h++)
            t->harmonic_db[f * TRACK_HARMONICS + h] = (float)f + (float)h / 16;
    store_track(j, &takes[0], 0, t);
    judge(j, "wren");
    journal_close(j);
    char *text = example(), *from = strstr(text, "journal.db"), out[256] = "";
    assert_non_null(from);
    char *program =
        xformat("%.*s%s%s\nprint(n, '%%.4f' %% time_s[-1], '%%.4f' %% pitch_st[200], '%%.4f' %% "
                "level_db[7], sum(reg), m, harmonic_db[300][5], harmonic_db[301], '%%.2f' %% "
                "p_m2[0])\n",
                (int)(from - text), text, (char *)*state, from + strlen("journal.db"));
    char *name = xformat("%s.out", (char *)*state);
    int file = open(name, O_RDWR | O_CREAT | O_TRUNC, 0600), code = -1;
    const char *const argv[] = {"python3", "-c", program, NULL};
    assert_int_equal(process_run(argv, "", 0, file, STDERR_FILENO, &code), PROCESS_DONE);
    assert_int_equal(code, 0);
    assert_true(pread(file, out, sizeof out - 1, 0) > 0);
    close(file);
    int sum = 0;
    label(t);
    for (size_t f = 0; f < t->n; f++)
        sum += t->reg[f];
    char *want = xformat("400 1.9950 %.4f %.4f %d 134 300.3125 None 0.02\n", t->pitch_st[200],
                         t->level_db[7], sum);
    assert_string_equal(out, want);
    unlink(name);
    free(name);
    free(want);
    free(program);
    free(text);
    track_free(t);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(test_python, new_journal, drop_journal),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
