/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/track.h"

#include "base/array.h"
#include "voice/egg.h"
#include "voice/measures.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

track *track_outline(const char *take, size_t n, double hop_s, double first_s)
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
    t->doubled = xcalloc(n, 1);
    t->irregular = xcalloc(n, 1);
    t->sounds = xcalloc(n, 1);
    return t;
}

track *track_new(const char *take, size_t n, double hop_s, double first_s)
{
    track *t = track_outline(take, n, hop_s, first_s);
    free(t->sounds);
    t->sounds = NULL;
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
    free(t->doubled);
    free(t->irregular);
    free(t->stated);
    free(t->harmonic_db);
    free(t->noise_db);
    free(t->sounds);
    measures_free(t->measures);
    free(t->egg);
    free(t);
}

/* Makes room behind the first `n` items of *to and copies `more` items there. */
static void extend(void **to, size_t n, const void *from, size_t first, size_t more, size_t size)
{
    *to = xrealloc(*to, n + more, size);
    if (more)
        memcpy((char *)*to + n * size, (const char *)from + first * size, more * size);
}

void track_append(track *t, const track *from, size_t first, size_t n)
{
    enum { H = TRACK_HARMONICS };
    extend((void **)&t->time_s, t->n, from->time_s, first, n, sizeof *t->time_s);
    extend((void **)&t->pitch_st, t->n, from->pitch_st, first, n, sizeof *t->pitch_st);
    extend((void **)&t->voicing, t->n, from->voicing, first, n, sizeof *t->voicing);
    extend((void **)&t->level_db, t->n, from->level_db, first, n, sizeof *t->level_db);
    extend((void **)&t->p_m2, t->n, from->p_m2, first, n, sizeof *t->p_m2);
    extend((void **)&t->reg, t->n, from->reg, first, n, sizeof *t->reg);
    extend((void **)&t->doubled, t->n, from->doubled, first, n, sizeof *t->doubled);
    extend((void **)&t->irregular, t->n, from->irregular, first, n, sizeof *t->irregular);
    extend((void **)&t->harmonic_db, t->n, from->harmonic_db, first, n, H * sizeof(float));
    extend((void **)&t->noise_db, t->n, from->noise_db, first, n, H * sizeof(float));
    if (from->egg)
        extend((void **)&t->egg, t->n, from->egg, first, n, sizeof *t->egg);
    if (from->measures) {
        t->measures = t->measures ? t->measures : measures_new();
        measures_append(t->measures, from->measures, first, n);
    }
    free(t->stated);
    t->stated = NULL;
    t->n += n;
}

track *track_part(const track *t, size_t first, size_t n)
{
    track *part = track_new(t->take, 0, t->hop_s, 0);
    part->full_scale_db = t->full_scale_db;
    part->declared = t->declared;
    track_append(part, t, first, n);
    return part;
}

void track_forget_registers(track *t)
{
    memset(t->reg, 0, t->n);
    for (size_t i = 0; i < t->n; i++)
        t->p_m2[i] = (double)NAN;
}

bool track_sounds(const track *t, size_t frame)
{
    if (t->sounds)
        return t->sounds[frame];
    for (size_t i = frame * TRACK_HARMONICS; i < (frame + 1) * TRACK_HARMONICS; i++)
        if (!isnan(t->harmonic_db[i]) || !isnan(t->noise_db[i]))
            return true;
    return false;
}

unsigned char track_flags(const track *t, size_t frame)
{
    return (unsigned char)((track_sounds(t, frame) ? TRACK_HAS_HARMONICS : 0) |
                           (t->doubled[frame] ? TRACK_DOUBLED : 0) |
                           t->irregular[frame] * TRACK_CYCLES);
}

void track_set_flags(track *t, size_t frame, unsigned char flags)
{
    t->doubled[frame] = (flags & TRACK_DOUBLED) != 0;
    t->irregular[frame] = flags / TRACK_CYCLES;
    if (t->sounds)
        t->sounds[frame] = flags & TRACK_HAS_HARMONICS;
}
