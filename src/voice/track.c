/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/track.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

track *track_new(const char *take, size_t n, double hop_s, double first_s)
{
    track *t = xcalloc(1, sizeof *t);
    *t = (track){.take = xstrdup(take), .n = n, .hop_s = hop_s, .full_scale_db = (double)NAN};
    t->time_s = xmalloc(n, sizeof *t->time_s);
    for (size_t i = 0; i < n; i++)
        t->time_s[i] = first_s + (double)i * hop_s;
    t->pitch_st = array_filled(n, (double)NAN);
    t->voicing = array_filled(n, 0);
    t->level_db = array_filled(n, -(double)INFINITY);
    t->p_m2 = array_filled(n, (double)NAN);
    t->reg = xcalloc(n, 1);
    t->harmonic_db = xmalloc(n * TRACK_HARMONICS, sizeof *t->harmonic_db);
    t->noise_db = xmalloc(n * TRACK_HARMONICS, sizeof *t->noise_db);
    for (size_t i = 0; i < n * TRACK_HARMONICS; i++)
        t->harmonic_db[i] = t->noise_db[i] = NAN;
    return t;
}

void track_free(track *t)
{
    if (!t)
        return;
    free(t->take);
    free(t->time_s);
    free(t->pitch_st);
    free(t->voicing);
    free(t->level_db);
    free(t->p_m2);
    free(t->reg);
    free(t->harmonic_db);
    free(t->noise_db);
    free(t);
}
