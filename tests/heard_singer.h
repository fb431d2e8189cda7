/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef HEARD_SINGER_H
#define HEARD_SINGER_H

/* A test voice's singer, the takes heard and nothing decoded yet, for tests. Include after
 * cmocka.h. */

#include "base/array.h"
#include "register/flip.h"
#include "voice/listen.h"
#include "voice/truth.h"
#include "voice2/choir.h"

#include <stdint.h>
#include <stdlib.h>

typedef struct heard_singer {
    truth t;
    track **tracks; /* [t.n] */
    flips *found;   /* [t.n] empty */
} heard_singer;

/* The sound is rendered under `takes`, once and for all. */
static inline heard_singer hear_singer(int voice, const char *family_name, uint64_t seed,
                                       const char *takes)
{
    heard_singer s = {.tracks = NULL};
    char *folder = NULL;
    err e = {""};
    voice_settings v = voice_defaults();
    if (!choir_render(voice, choir_by_name(voice, family_name), seed, takes, &folder, &e) ||
        !truth_read(folder, &s.t, &e))
        fail_msg("%s", e.text);
    s.tracks = xcalloc(s.t.n, sizeof *s.tracks);
    s.found = xcalloc(s.t.n, sizeof *s.found);
    for (size_t k = 0; k < s.t.n; k++) {
        char *path = xformat("%s/%s", folder, s.t.takes[k].name);
        if (!voice_listen(path, &v, &s.tracks[k], NULL, &e))
            fail_msg("%s", e.text);
        free(path);
    }
    free(folder);
    return s;
}

static inline void heard_singer_clear(heard_singer *s)
{
    for (size_t k = 0; k < s->t.n; k++) {
        flips_clear(&s->found[k]);
        track_free(s->tracks[k]);
    }
    free(s->found);
    free(s->tracks);
    truth_clear(&s->t);
}

#endif
