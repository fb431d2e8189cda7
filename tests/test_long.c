/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The short form of make test-long: minutes of sound, of which the program must not keep as many
 * megabytes as it would if it held them. Oracle: the kernel's count of resident memory. */
#include "base/array.h"

#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

/* The folder in which the programs were built. */
static char *built(void)
{
    const char *program = getenv("SEAMLINE");
    char *folder = xstrdup(program ? program : "build/seamline"), *end = strrchr(folder, '/');
    assert_non_null(end);
    *end = '\0';
    return folder;
}

/* Three minutes of 96 kHz, half of it voice. As one block the working signal, its phases, the low
 * band and the pitch's search would take 65 MB. A sanitizer takes memory of its own, and then only
 * the results are checked. */
static void test_memory_does_not_grow(void **state)
{
    (void)state;
    char *folder = built();
    const char *most = getenv("ASAN_OPTIONS") || strstr(folder, "/san") ? "4000" : "55";
    char *line =
        xformat("mkdir -p %s/long-takes && %s/testvoice render tests/long.tsv %s/long-takes"
                " && %s/long %s/seamline %s/long-takes 3 %s mixed",
                folder, folder, folder, folder, folder, folder, most);
    int code = system(line);
    free(line);
    free(folder);
    assert_int_equal(code, 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_memory_does_not_grow),
    };
    return cmocka_run_group_tests_name("long", tests, NULL, NULL);
}
