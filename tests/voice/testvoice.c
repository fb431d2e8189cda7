/* SPDX-License-Identifier: GPL-3.0-or-later */

/* The test voice: sings takes whose truth is known. */

#include "voice/studio.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static int usage(void)
{
    fputs("usage: testvoice families\n"
          "       testvoice family NAME SEED FOLDER [egg]\n"
          "       testvoice render SCENARIO.tsv FOLDER\n",
          stderr);
    return 2;
}

static int families(void)
{
    for (int f = 0; f < FAMILIES; f++)
        printf("%s\t%s\n", family_get((family)f)->name, family_get((family)f)->sentence);
    return fflush(stdout) == 0 ? 0 : 1;
}

static int finished(bool ok, const err *e)
{
    if (!ok)
        fprintf(stderr, "testvoice: %s\n", e->text);
    return ok ? 0 : 1;
}

static int one_family(const char *name, const char *seed_text, const char *folder, bool egg)
{
    family f = family_by_name(name);
    char *end;
    errno = 0;
    unsigned long long seed = strtoull(seed_text, &end, 10);
    if (f == FAMILIES)
        fprintf(stderr,
                "testvoice: There is no family called %s; `testvoice families` lists them.\n",
                name);
    else if (errno || end == seed_text || *end || seed_text[0] == '-')
        fprintf(stderr, "testvoice: The seed %s is not a whole number from 0 on.\n", seed_text);
    else {
        err e = {0};
        return finished(egg ? studio_family_egg(f, seed, STUDIO_ALL, folder, &e)
                            : studio_family(f, seed, STUDIO_ALL, folder, &e),
                        &e);
    }
    return 2;
}

int main(int argc, char **argv)
{
    err e = {0};
    if (argc == 2 && strcmp(argv[1], "families") == 0)
        return families();
    if (argc == 5 && strcmp(argv[1], "family") == 0)
        return one_family(argv[2], argv[3], argv[4], false);
    if (argc == 6 && strcmp(argv[1], "family") == 0 && strcmp(argv[5], "egg") == 0)
        return one_family(argv[2], argv[3], argv[4], true);
    if (argc == 4 && strcmp(argv[1], "render") == 0)
        return finished(studio_scenario(argv[2], argv[3], &e), &e);
    return usage();
}
