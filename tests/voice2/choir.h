/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_CHOIR_H
#define VOICE2_CHOIR_H

/* The test voices by one name: voice 1 is that of voice/studio.h, voice 2 that of album.h, voice 3
 * that of voice3/reel.h, which has no EGG. */

#include "base/message.h"

#include <stdbool.h>
#include <stdint.h>

enum { CHOIR_VOICES = 3, CHOIR_MOST = 64 }; /* families of a voice, at most */

int choir_families(int voice); /* families are counted from 0 */
const char *choir_name(int voice, int family_at);
int choir_by_name(int voice, const char *name); /* -1 when there is none */
/* Whether its takes are of a kind without flips (some may be taken beside others with flips). */
bool choir_still(int voice, int family_at);

/* One singer's takes and truth as files; makes the folder. */
bool choir_write(int voice, int family_at, uint64_t seed, const char *folder, err *e);
/* The same with an EGG beside the microphone. */
bool choir_write_egg(int voice, int family_at, uint64_t seed, const char *folder, err *e);

/* As choir_write(), once and for all, in a folder of its own under `takes`; *folder, for free(), is
 * where. */
bool choir_render(int voice, int family_at, uint64_t seed, const char *takes, char **folder,
                  err *e);
char *choir_singer(int voice, int family_at, uint64_t seed); /* that folder's own name; free() */

/* The same as choir_render() with an EGG. */
bool choir_render_egg(int voice, int family_at, uint64_t seed, const char *takes, char **folder,
                      err *e);

#endif
