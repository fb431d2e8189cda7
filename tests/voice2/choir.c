/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/choir.h"

#include "voice/studio.h"
#include "voice2/album.h"

#include <string.h>

int choir_families(int voice)
{
    return voice == 1 ? (int)FAMILIES : (int)CAST_FAMILIES;
}

const char *choir_name(int voice, int family_at)
{
    return voice == 1 ? family_get((family)family_at)->name
                      : cast_get((cast_family)family_at, false).name;
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
    return family_at >= (voice == 1 ? (int)FAMILY_STILL : (int)CAST_STILL);
}

bool choir_write(int voice, int family_at, uint64_t seed, const char *folder, err *e)
{
    return voice == 1 ? studio_family((family)family_at, seed, folder, e)
                      : album_write((cast_family)family_at, seed, folder, e);
}

bool choir_write_egg(int voice, int family_at, uint64_t seed, const char *folder, err *e)
{
    return voice == 1 ? studio_family_egg((family)family_at, seed, folder, e)
                      : album_write_egg((cast_family)family_at, seed, folder, e);
}
