/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/choir.h"

#include "base/array.h"
#include "base/text.h"
#include "voice/files.h"
#include "voice/studio.h"
#include "voice2/album.h"
#include "voice3/reel.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

int choir_families(int voice)
{
    return voice == 1 ? (int)FAMILIES : voice == 2 ? (int)CAST_FAMILIES : (int)ENSEMBLE_SINGERS;
}

const char *choir_name(int voice, int family_at)
{
    return voice == 1   ? family_get((family)family_at)->name
           : voice == 2 ? cast_get((cast_family)family_at, false).name
                        : ensemble_get((ensemble_singer)family_at)->name;
}

int choir_by_name(int voice, const char *name)
{
    for (int f = 0; f < choir_families(voice); f++)
        if (strcmp(choir_name(voice, f), name) == 0)
            return f;
    return -1;
}

bool choir_still(int voice, int family_at)
{
    static const int first[CHOIR_VOICES] = {FAMILY_STILL, CAST_STILL, ENSEMBLE_STILL};
    return family_at >= first[voice - 1];
}

bool choir_write(int voice, int family_at, uint64_t seed, const char *folder, err *e)
{
    return voice == 1   ? studio_family((family)family_at, seed, STUDIO_ALL, folder, e)
           : voice == 2 ? album_write((cast_family)family_at, seed, ALBUM_ALL, folder, e)
                        : reel_write((ensemble_singer)family_at, seed, folder, e);
}

bool choir_write_egg(int voice, int family_at, uint64_t seed, const char *folder, err *e)
{
    return voice == 1   ? studio_family_egg((family)family_at, seed, STUDIO_ALL, folder, e)
           : voice == 2 ? album_write_egg((cast_family)family_at, seed, ALBUM_ALL, folder, e)
                        : err_set(e, "The third test voice has no EGG.");
}

char *choir_singer(int voice, int family_at, uint64_t seed)
{
    static const char *const before[CHOIR_VOICES] = {"", "second-", "third-"};
    return xformat("%s%s-%llu", before[voice - 1], choir_name(voice, family_at),
                   (unsigned long long)seed);
}

static bool render(int voice, int family_at, uint64_t seed, bool egg, const char *takes,
                   char **folder, err *e)
{
    char *name = choir_singer(voice, family_at, seed);
    *folder = xformat("%s/%s%s", takes, name, egg ? "-egg" : "");
    free(name);
    char *stamp = xformat("%s/whole", *folder);
    bool ok = access(stamp, F_OK) == 0;
    if (!ok && files_folder(takes, e) &&
        (egg ? choir_write_egg : choir_write)(voice, family_at, seed, *folder, e)) {
        FILE *out = NULL;
        ok = files_create(*folder, "whole", &out, e) && fclose(out) == 0;
    }
    free(stamp);
    return ok;
}

bool choir_render(int voice, int family_at, uint64_t seed, const char *takes, char **folder, err *e)
{
    return render(voice, family_at, seed, false, takes, folder, e);
}

bool choir_render_egg(int voice, int family_at, uint64_t seed, const char *takes, char **folder,
                      err *e)
{
    return render(voice, family_at, seed, true, takes, folder, e);
}
