/* SPDX-License-Identifier: GPL-3.0-or-later */

/* The second test voice: sings takes whose truth is known. */

#include "voice2/album.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int families(void)
{
    for (int f = 0; f < CAST_FAMILIES; f++) {
        cast_row row = cast_get((cast_family)f, false);
        printf("%s\t%s\n", row.name, row.sentence);
    }
    return fflush(stdout) == 0 ? 0 : 1;
}

static int one_family(const char *name, const char *seed_text, const char *folder, bool egg)
{
    cast_family f = cast_by_name(name);
    char *end;
    errno = 0;
    unsigned long long seed = strtoull(seed_text, &end, 10);
    if (f == CAST_FAMILIES) {
        fprintf(stderr,
                "testvoice2: There is no family called %s; `testvoice2 families` lists them.\n",
                name);
        return 2;
    }
    if (errno || end == seed_text || *end || seed_text[0] == '-') {
        fprintf(stderr, "testvoice2: The seed %s is not a whole number from 0 on.\n", seed_text);
        return 2;
    }
    err e = {0};
    bool ok = egg ? album_write_egg(f, seed, ALBUM_ALL, folder, &e)
                  : album_write(f, seed, ALBUM_ALL, folder, &e);
    if (!ok)
        fprintf(stderr, "testvoice2: %s\n", e.text);
    return ok ? 0 : 1;
}

int main(int argc, char **argv)
{
    if (argc == 2 && strcmp(argv[1], "families") == 0)
        return families();
    if (argc == 5 && strcmp(argv[1], "family") == 0)
        return one_family(argv[2], argv[3], argv[4], false);
    if (argc == 6 && strcmp(argv[1], "family") == 0 && strcmp(argv[5], "egg") == 0)
        return one_family(argv[2], argv[3], argv[4], true);
    fputs("usage: testvoice2 families\n       testvoice2 family NAME SEED FOLDER [egg]\n", stderr);
    return 2;
}
