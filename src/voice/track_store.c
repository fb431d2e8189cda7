/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/track_store.h"

#include "base/array.h"
#include "base/spool.h"
#include "voice/egg.h"
#include "voice/measures.h"

#include <assert.h>
#include <math.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum {
    CHUNK = 2000, /* frames at most that lie together in the spool */
    ROW = TRACK_HARMONICS * sizeof(float),
    PLAIN = 3 * sizeof(double) + 1 /* bytes of a frame without harmonics */
};
static const double margin_s = 0.3;
#define NONE SIZE_MAX

typedef struct chunk {
    size_t first, n; /* frames of its take */
    size_t at;       /* in the spool; its measures at `measured`, NONE without */
    size_t measured, n_levels;
    bool egg; /* it has contact */
} chunk;

typedef struct stored { /* one take */
    char *name;
    double hop_s, full_scale_db;
    declared_register declared;
    size_t n;             /* frames */
    size_t chunks, base;  /* its first chunk; frames in all takes before it */
    size_t stretches, at; /* before it; in the spool */
    size_t last_voiced;   /* NONE: no voice yet */
} stored;

struct track_store {
    stored *takes;
    chunk *chunks;
    stretch *stretches;
    size_t n_takes, n_chunks, n_stretches, room_takes, room_chunks, room_stretches;
    size_t end; /* of the frames in their spool */
    spool *frames, *labels;
    bool measured; /* reading gives measures, too */
};

track_store *track_store_new(void)
{
    track_store *s = xcalloc(1, sizeof *s);
    s->frames = spool_new();
    s->labels = spool_new();
    return s;
}

void track_store_free(track_store *s)
{
    if (!s)
        return;
    for (size_t k = 0; k < s->n_takes; k++)
        free(s->takes[k].name);
    free(s->takes);
    free(s->chunks);
    free(s->stretches);
    spool_free(s->frames);
    spool_free(s->labels);
    free(s);
}

void track_store_begin(track_store *s, const char *take, double hop_s, declared_register declared)
{
    array_reserve((void **)&s->takes, &s->room_takes, s->n_takes + 1, sizeof *s->takes);
    assert(s->takes);
    const stored *before = s->n_takes ? &s->takes[s->n_takes - 1] : NULL;
    size_t base = before ? before->base + before->n : 0;
    s->takes[s->n_takes++] = (stored){.name = xstrdup(take),
                                      .hop_s = hop_s,
                                      .full_scale_db = (double)NAN,
                                      .declared = declared,
                                      .chunks = s->n_chunks,
                                      .base = base,
                                      .stretches = s->n_stretches,
                                      .at = s->end,
                                      .last_voiced = NONE};
}

static size_t margin(const stored *t)
{
    return (size_t)lround(margin_s / t->hop_s);
}

/* The open stretch ends where its voice did. */
static void close_stretch(track_store *s, const stored *t)
{
    if (t->last_voiced == NONE)
        return;
    stretch *open = &s->stretches[s->n_stretches - 1];
    size_t end = t->last_voiced + 1 + margin(t);
    open->n = (end < t->n ? end : t->n) - open->first;
}

static void note_voiced(track_store *s, stored *t, size_t frame)
{
    bool fresh = t->last_voiced == NONE || frame - t->last_voiced > 2 * margin(t);
    if (fresh) {
        close_stretch(s, t);
        array_reserve((void **)&s->stretches, &s->room_stretches, s->n_stretches + 1,
                      sizeof *s->stretches);
        size_t first = frame > margin(t) ? frame - margin(t) : 0;
        s->stretches[s->n_stretches++] = (stretch){.take = s->n_takes - 1, .first = first};
    }
    s->stretches[s->n_stretches - 1].voiced++;
    t->last_voiced = frame;
}

static unsigned char *put(unsigned char *to, const void *from, size_t n)
{
    memcpy(to, from, n);
    return to + n;
}

static const unsigned char *get(const unsigned char *from, void *to, size_t n)
{
    memcpy(to, from, n);
    return from + n;
}

/* A chunk is pitch[n], voicing[n], level[n], track_flags() of each frame, then levels and noise of
 * the frames with harmonics, then the EGG's frames, if there is one. */
static bool write_chunk(track_store *s, const track *t, size_t first, size_t n, err *e)
{
    unsigned char *bytes = xmalloc(n, PLAIN + 2 * ROW + sizeof *t->egg), *to = bytes;
    to = put(to, t->pitch_st + first, n * sizeof(double));
    to = put(to, t->voicing + first, n * sizeof(double));
    to = put(to, t->level_db + first, n * sizeof(double));
    for (size_t i = first; i < first + n; i++)
        *to++ = track_flags(t, i);
    for (size_t i = first; i < first + n; i++)
        if (track_flags(t, i) & TRACK_HAS_HARMONICS) {
            to = put(to, t->harmonic_db + i * TRACK_HARMONICS, ROW);
            to = put(to, t->noise_db + i * TRACK_HARMONICS, ROW);
        }
    if (t->egg)
        to = put(to, t->egg + first, n * sizeof *t->egg);
    size_t size = (size_t)(to - bytes);
    bool good = spool_write(s->frames, s->end, bytes, size, e);
    s->end += size;
    free(bytes);
    return good;
}

static bool write_measures(track_store *s, chunk *c, const track *t, size_t first, err *e)
{
    c->measured = NONE;
    if (!t->measures)
        return true;
    measures *m = measures_new();
    measures_append(m, t->measures, first, c->n);
    size_t values = c->n * MEASURES * sizeof *m->value,
           levels = m->n_levels * sizeof *m->harmonic_db;
    c->measured = s->end;
    c->n_levels = m->n_levels;
    bool good = spool_write(s->frames, s->end, m->value, values, e) &&
                spool_write(s->frames, s->end + values, m->harmonics, c->n, e) &&
                spool_write(s->frames, s->end + values + c->n, m->harmonic_db, levels, e);
    s->end += values + c->n + levels;
    measures_free(m);
    return good;
}

static bool read_measures(const track_store *s, const chunk *c, track *t, err *e)
{
    if (!s->measured || c->measured == NONE)
        return true;
    measures *m = t->measures = measures_new();
    size_t values = c->n * MEASURES * sizeof *m->value,
           levels = c->n_levels * sizeof *m->harmonic_db;
    m->n = c->n;
    m->n_levels = c->n_levels;
    m->value = xrealloc(m->value, values, 1);
    m->harmonics = xrealloc(m->harmonics, c->n, 1);
    m->harmonic_db = xrealloc(m->harmonic_db, levels, 1);
    return spool_read(s->frames, c->measured, m->value, values, e) &&
           spool_read(s->frames, c->measured + values, m->harmonics, c->n, e) &&
           spool_read(s->frames, c->measured + values + c->n, m->harmonic_db, levels, e);
}

static void take_apart(const unsigned char *from, bool egg, track *t)
{
    from = get(from, t->pitch_st, t->n * sizeof(double));
    from = get(from, t->voicing, t->n * sizeof(double));
    from = get(from, t->level_db, t->n * sizeof(double));
    const unsigned char *has = from;
    from += t->n;
    for (size_t i = 0; i < t->n; i++) {
        track_set_flags(t, i, has[i]);
        if (has[i] & TRACK_HAS_HARMONICS) {
            from = get(from, t->harmonic_db + i * TRACK_HARMONICS, ROW);
            from = get(from, t->noise_db + i * TRACK_HARMONICS, ROW);
        }
    }
    if (egg) {
        t->egg = xmalloc(t->n, sizeof *t->egg);
        get(from, t->egg, t->n * sizeof *t->egg);
    }
}

static bool read_chunk(const track_store *s, const chunk *c, track *t, err *e)
{
    size_t more = c->egg ? c->n * sizeof *t->egg : 0;
    unsigned char *bytes = xmalloc(c->n, PLAIN + 2 * ROW + sizeof *t->egg);
    const unsigned char *has = bytes + c->n * (PLAIN - 1);
    bool good = spool_read(s->frames, c->at, bytes, c->n * PLAIN, e);
    for (size_t i = 0; good && i < c->n; i++)
        more += has[i] & TRACK_HAS_HARMONICS ? 2 * ROW : 0;
    good = good && spool_read(s->frames, c->at + c->n * PLAIN, bytes + c->n * PLAIN, more, e);
    if (good)
        take_apart(bytes, c->egg, t);
    free(bytes);
    return good;
}

bool track_store_append(track_store *s, const track *piece, err *e)
{
    stored *t = &s->takes[s->n_takes - 1];
    t->full_scale_db = piece->full_scale_db;
    for (size_t i = 0; i < piece->n; i += CHUNK) {
        size_t n = piece->n - i < CHUNK ? piece->n - i : CHUNK;
        array_reserve((void **)&s->chunks, &s->room_chunks, s->n_chunks + 1, sizeof *s->chunks);
        chunk *c = &s->chunks[s->n_chunks++];
        *c = (chunk){.first = t->n, .n = n, .at = s->end, .egg = piece->egg != NULL};
        if (!write_chunk(s, piece, i, n, e) || !write_measures(s, c, piece, i, e))
            return false;
        t->n += n;
        for (size_t k = 0; k < n; k++)
            if (!isnan(piece->pitch_st[i + k]))
                note_voiced(s, t, t->n - n + k);
    }
    return true;
}

void track_store_end(track_store *s)
{
    close_stretch(s, &s->takes[s->n_takes - 1]);
}

void track_store_drop(track_store *s)
{
    stored *t = &s->takes[--s->n_takes];
    s->n_chunks = t->chunks;
    s->n_stretches = t->stretches;
    s->end = t->at;
    free(t->name);
}

void track_store_read_measures(track_store *s)
{
    s->measured = true;
}

size_t track_store_takes(const track_store *s)
{
    return s->n_takes;
}

const char *track_store_name(const track_store *s, size_t take)
{
    return s->takes[take].name;
}

size_t track_store_frames(const track_store *s, size_t take)
{
    return s->takes[take].n;
}

const stretch *track_store_stretches(const track_store *s, size_t *n)
{
    *n = s->n_stretches;
    return s->stretches;
}

/* A label is a byte, the register with 16 added where there is a probability, and that. */
enum { LABEL = 1 + sizeof(double), HAS_P = 16 };

static bool read_labels(const track_store *s, size_t at, track *t, err *e)
{
    unsigned char *bytes = xmalloc(t->n, LABEL);
    bool good = spool_read(s->labels, at * LABEL, bytes, t->n * LABEL, e);
    for (size_t i = 0; good && i < t->n; i++) {
        t->reg[i] = bytes[i * LABEL] % HAS_P;
        if (bytes[i * LABEL] >= HAS_P)
            memcpy(&t->p_m2[i], bytes + i * LABEL + 1, sizeof(double));
    }
    free(bytes);
    return good;
}

bool track_store_label(track_store *s, size_t take, size_t first, size_t n,
                       const unsigned char *reg, const double *p_m2, err *e)
{
    const stored *of = &s->takes[take];
    assert(first + n <= of->n);
    unsigned char *bytes = xcalloc(n, LABEL);
    for (size_t i = 0; i < n; i++) {
        bytes[i * LABEL] = (unsigned char)(reg[i] + (isnan(p_m2[i]) ? 0 : HAS_P));
        if (!isnan(p_m2[i]))
            memcpy(bytes + i * LABEL + 1, &p_m2[i], sizeof(double));
    }
    bool good = spool_write(s->labels, (of->base + first) * LABEL, bytes, n * LABEL, e);
    free(bytes);
    return good;
}

static bool read_frames(const track_store *s, const stored *of, size_t first, track *all, size_t n,
                        err *e)
{
    bool good = true;
    for (size_t k = of->chunks; good && all->n < n; k++) {
        const chunk *c = &s->chunks[k];
        size_t from = first + all->n;
        if (c->first + c->n <= from)
            continue;
        track *t = track_new(of->name, c->n, of->hop_s, 0);
        good = read_chunk(s, c, t, e) && read_measures(s, c, t, e);
        size_t skip = from - c->first, here = c->n - skip, more = n - all->n;
        track_append(all, t, skip, here < more ? here : more);
        track_free(t);
    }
    return good;
}

bool track_store_read(const track_store *s, size_t take, size_t first, size_t n, track **out,
                      err *e)
{
    const stored *of = &s->takes[take];
    assert(first + n <= of->n);
    track *t = track_new(of->name, 0, of->hop_s, 0);
    t->full_scale_db = of->full_scale_db;
    t->declared = of->declared;
    bool good = read_frames(s, of, first, t, n, e) && read_labels(s, of->base + first, t, e);
    for (size_t i = 0; i < t->n; i++)
        t->time_s[i] = (double)(first + i) * of->hop_s;
    if (good)
        *out = t;
    else
        track_free(t);
    return good;
}
