/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/frames_long.h"

#include "base/array.h"

#include <nettle/sha2.h>
#include <stdlib.h>

/* The sections in which the bytes lie: three numbers and the flags of each frame, two rows of
 * those with harmonics, an EGG's numbers of each frame. */
enum { FLAGS = 3, LINES = 4, CONTACT = 6, SECTIONS };
static const size_t row_bytes[SECTIONS] = {4, 4, 4, 1, 4 * TRACK_HARMONICS, 4 * TRACK_HARMONICS,
                                           24};

typedef struct layout {
    size_t n, m;  /* frames; those with harmonics */
    int sections; /* CONTACT without an EGG */
} layout;

static size_t bytes_of(const layout *l, int section)
{
    return row_bytes[section] * (section >= LINES && section < CONTACT ? l->m : l->n);
}

static size_t begins(const layout *l, int section)
{
    size_t at = 0;
    for (int s = 0; s < section; s++)
        at += bytes_of(l, s);
    return at;
}

static size_t size_of(const layout *l)
{
    return begins(l, l->sections);
}

static layout layout_of(const track *t)
{
    layout l = {.n = t->n, .sections = t->egg ? SECTIONS : CONTACT};
    for (size_t i = 0; i < t->n; i++)
        l.m += track_flags(t, i) & TRACK_HAS_HARMONICS;
    return l;
}

static void add(layout *l, const layout *more)
{
    l->n += more->n;
    l->m += more->m;
    l->sections = more->sections;
}

/* The frames behind those that `done` counts. */
static bool write_part(const layout *all, const layout *done, const track *t, spool *out, err *e)
{
    layout part = layout_of(t);
    frames_bytes b = frames_heard_write(t);
    bool fine = true;
    for (int s = 0; fine && s < all->sections; s++)
        fine = spool_write(out, begins(all, s) + bytes_of(done, s), b.bytes + begins(&part, s),
                           bytes_of(&part, s), e);
    free(b.bytes);
    return fine;
}

/* Counts the take's frames and, when it is known what they come to, writes them. */
static bool go_through(const track_store *from, size_t take, const layout *opt_all, layout *done,
                       spool *out, err *e)
{
    size_t n = track_store_frames(from, take);
    bool fine = true;
    *done = (layout){.sections = CONTACT};
    for (size_t here; fine && done->n < n;) {
        track *t;
        here = n - done->n < FRAMES_AT_ONCE ? n - done->n : FRAMES_AT_ONCE;
        if (!track_store_read(from, take, done->n, here, &t, e))
            return false;
        fine = !opt_all || write_part(opt_all, done, t, out, e);
        layout part = layout_of(t);
        add(done, &part);
        track_free(t);
    }
    return fine;
}

static bool digest_spool(const spool *s, size_t n, unsigned char digest[FRAMES_DIGEST], err *e)
{
    unsigned char block[4096];
    struct sha256_ctx hash;
    sha256_init(&hash);
    for (size_t at = 0; at < n; at += sizeof block) {
        size_t here = n - at < sizeof block ? n - at : sizeof block;
        if (!spool_read(s, at, block, here, e))
            return false;
        sha256_update(&hash, here, block);
    }
    sha256_digest(&hash, FRAMES_DIGEST, digest);
    return true;
}

bool frames_long_write(const track_store *from, size_t take, spool *out, size_t *n_bytes,
                       unsigned char digest[FRAMES_DIGEST], err *e)
{
    layout all, done;
    if (!go_through(from, take, NULL, &all, NULL, e) ||
        !go_through(from, take, &all, &done, out, e))
        return false;
    *n_bytes = size_of(&all);
    return digest_spool(out, *n_bytes, digest, e);
}

typedef struct reader {
    frames_source *read;
    void *context;
    layout all, done;
} reader;

/* What comes next, by its flags. */
static bool look_ahead(const reader *r, layout *next, err *e)
{
    unsigned char flags[FRAMES_AT_ONCE];
    size_t left = r->all.n - r->done.n, n = left < FRAMES_AT_ONCE ? left : FRAMES_AT_ONCE;
    *next = (layout){.n = n, .sections = r->all.sections};
    if (!r->read(r->context, begins(&r->all, FLAGS) + bytes_of(&r->done, FLAGS), flags, n, e))
        return false;
    for (size_t i = 0; i < n; i++)
        next->m += flags[i] & TRACK_HAS_HARMONICS;
    return true;
}

/* The bytes of the frames that come next, as if there were no others, into bytes[size_of(next)]. */
static bool read_part(const reader *r, const layout *next, unsigned char *bytes, err *e)
{
    bool fine = true;
    for (int s = 0; fine && s < next->sections; s++)
        fine = r->read(r->context, begins(&r->all, s) + bytes_of(&r->done, s),
                       bytes + begins(next, s), bytes_of(next, s), e);
    return fine;
}

/* How many frames have harmonics, and whether there is an EGG. */
static bool survey(reader *r, size_t n_bytes, bool *right, err *e)
{
    layout next;
    *right = r->all.n <= n_bytes / FRAMES_OUTLINE;
    while (*right && r->done.n < r->all.n) {
        if (!look_ahead(r, &next, e))
            return false;
        add(&r->done, &next);
    }
    r->all.m = r->done.m;
    r->done = (layout){.n = 0};
    if (n_bytes != size_of(&r->all))
        r->all.sections = SECTIONS;
    *right = *right && n_bytes == size_of(&r->all);
    return true;
}

static bool read_next(reader *r, double full_scale_db, track_store *to, bool *right, err *e)
{
    layout next;
    if (!look_ahead(r, &next, e))
        return false;
    unsigned char *bytes = xmalloc(size_of(&next), 1);
    track *t = track_new("", next.n, 1, 0);
    t->full_scale_db = full_scale_db;
    bool fine = read_part(r, &next, bytes, e);
    *right = fine && frames_heard_read(bytes, size_of(&next), t);
    fine = fine && track_store_append(to, t, e);
    add(&r->done, &next);
    track_free(t);
    free(bytes);
    return fine;
}

bool frames_long_read(frames_source *read, void *context, size_t n_bytes, size_t n,
                      double full_scale_db, track_store *to, bool *right, err *e)
{
    reader r = {read, context, .all = {.n = n, .sections = CONTACT}};
    bool fine = survey(&r, n_bytes, right, e);
    while (fine && *right && r.done.n < n)
        fine = read_next(&r, full_scale_db, to, right, e);
    return fine;
}
