/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/frames.h"

#include "base/array.h"
#include "voice/egg.h"

#include <math.h>
#include <nettle/sha2.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum {
    FLOAT_BYTES = 4,
    ROW_BYTES = TRACK_HARMONICS * FLOAT_BYTES,
    CONTACT_BYTES = 6 * FLOAT_BYTES
};

static unsigned char *put(unsigned char *to, float value)
{
    uint32_t bits;
    memcpy(&bits, &value, sizeof bits);
    for (int i = 0; i < FLOAT_BYTES; i++)
        to[i] = (unsigned char)(bits >> (8 * i) & 0xFF);
    return to + FLOAT_BYTES;
}

static float get(const unsigned char *from)
{
    uint32_t bits = 0;
    for (int i = 0; i < FLOAT_BYTES; i++)
        bits |= (uint32_t)from[i] << (8 * i);
    float value;
    memcpy(&value, &bits, sizeof value);
    return value;
}

static unsigned char *put_doubles(unsigned char *to, const double *values, size_t n)
{
    for (size_t i = 0; i < n; i++)
        to = put(to, (float)values[i]);
    return to;
}

static const unsigned char *get_doubles(const unsigned char *from, double *values, size_t n)
{
    for (size_t i = 0; i < n; i++, from += FLOAT_BYTES)
        values[i] = (double)get(from);
    return from;
}

static unsigned char *put_harmonics(unsigned char *to, const track *t, const float *values)
{
    for (size_t i = 0; i < t->n; i++)
        if (track_flags(t, i) & TRACK_HAS_HARMONICS)
            for (size_t h = 0; h < TRACK_HARMONICS; h++)
                to = put(to, values[i * TRACK_HARMONICS + h]);
    return to;
}

static const unsigned char *get_harmonics(const unsigned char *from, const track *t, float *values,
                                          const unsigned char *has)
{
    for (size_t i = 0; i < t->n; i++)
        for (size_t h = 0; has[i] & TRACK_HAS_HARMONICS && h < TRACK_HARMONICS;
             h++, from += FLOAT_BYTES)
            values[i * TRACK_HARMONICS + h] = get(from);
    return from;
}

static unsigned char *put_contact(unsigned char *to, const egg_frame *f)
{
    const float values[] = {f->quotient, f->peaks_quotient, f->closing,
                            f->opening,  f->level_db,       f->clarity};
    for (size_t i = 0; i < sizeof values / sizeof *values; i++)
        to = put(to, values[i]);
    return to;
}

static egg_frame get_contact(const unsigned char *from)
{
    return (egg_frame){.quotient = get(from),
                       .peaks_quotient = get(from + FLOAT_BYTES),
                       .closing = get(from + 2 * FLOAT_BYTES),
                       .opening = get(from + 3 * FLOAT_BYTES),
                       .level_db = get(from + 4 * FLOAT_BYTES),
                       .clarity = get(from + 5 * FLOAT_BYTES)};
}

static void get_contacts(const unsigned char *from, track *t)
{
    t->egg = xmalloc(t->n, sizeof *t->egg);
    for (size_t i = 0; i < t->n; i++, from += CONTACT_BYTES)
        t->egg[i] = get_contact(from);
}

/* Where the bytes of frames and harmonics lie, by what they are of. */
typedef struct layout {
    size_t n, m; /* frames; those with harmonics */
    bool egg;
} layout;

enum section { OF_PITCH, OF_VOICING, OF_LEVEL, OF_FLAGS, OF_VOICE, OF_NOISE, OF_EGG, SECTIONS };

static size_t section_row(enum section s)
{
    static const size_t bytes[SECTIONS] = {FLOAT_BYTES, FLOAT_BYTES, FLOAT_BYTES,  1,
                                           ROW_BYTES,   ROW_BYTES,   CONTACT_BYTES};
    return bytes[s];
}

static size_t section_rows(const layout *l, enum section s)
{
    return s == OF_VOICE || s == OF_NOISE ? l->m : l->n;
}

static size_t section_at(const layout *l, enum section wanted)
{
    size_t at = 0;
    for (int s = 0; s < (int)wanted; s++)
        at += section_row((enum section)s) * section_rows(l, (enum section)s);
    return at;
}

static size_t layout_bytes(const layout *l)
{
    return section_at(l, l->egg ? SECTIONS : OF_EGG);
}

static void layout_add(layout *l, const track *t)
{
    l->n += t->n;
    l->egg = l->egg || t->egg;
    for (size_t i = 0; i < t->n; i++)
        l->m += track_flags(t, i) & TRACK_HAS_HARMONICS;
}

static unsigned char *put_section(unsigned char *to, const track *t, enum section s)
{
    const double *const numbers[] = {t->pitch_st, t->voicing, t->level_db};
    if (s < OF_FLAGS)
        return put_doubles(to, numbers[s], t->n);
    for (size_t i = 0; s == OF_FLAGS && i < t->n; i++)
        *to++ = track_flags(t, i);
    for (size_t i = 0; s == OF_EGG && i < t->n; i++)
        to = put_contact(to, &t->egg[i]);
    if (s != OF_VOICE && s != OF_NOISE)
        return to;
    return put_harmonics(to, t, s == OF_NOISE ? t->noise_db : t->harmonic_db);
}

frames_bytes frames_heard_write(const track *t)
{
    layout l = {.n = 0};
    layout_add(&l, t);
    frames_bytes b = {.n = layout_bytes(&l)};
    unsigned char *to = b.bytes = xmalloc(b.n, 1);
    for (int s = 0; s < (l.egg ? SECTIONS : OF_EGG); s++)
        to = put_section(to, t, (enum section)s);
    return b;
}

/* Frames of the take behind those that `done` counts, which it counts afterwards. */
static bool spool_part(const layout *all, layout *done, const track *t, spool *out, err *e)
{
    unsigned char *bytes = xmalloc(t->n, ROW_BYTES);
    bool fine = true;
    for (int s = 0; fine && s < (all->egg ? SECTIONS : OF_EGG); s++) {
        size_t at = section_at(all, (enum section)s) +
                    section_rows(done, (enum section)s) * section_row((enum section)s);
        const unsigned char *end = put_section(bytes, t, (enum section)s);
        fine = spool_write(out, at, bytes, (size_t)(end - bytes), e);
    }
    layout_add(done, t);
    free(bytes);
    return fine;
}

/* Counts the take's frames, or, where it is known what they come to, spools them. */
static bool go_through(const track_store *from, size_t take, const layout *opt_all, layout *done,
                       spool *out, err *e)
{
    size_t n = track_store_frames(from, take);
    bool fine = true;
    for (size_t first = 0; fine && first < n; first += FRAMES_AT_ONCE) {
        track *t;
        size_t here = n - first < FRAMES_AT_ONCE ? n - first : FRAMES_AT_ONCE;
        if (!track_store_read(from, take, first, here, &t, e))
            return false;
        if (opt_all)
            fine = spool_part(opt_all, done, t, out, e);
        else
            layout_add(done, t);
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

bool frames_heard_spool(const track_store *from, size_t take, spool *out, size_t *n_bytes,
                        unsigned char digest[FRAMES_DIGEST], err *e)
{
    layout all = {.n = 0}, done = {.n = 0};
    if (!go_through(from, take, NULL, &all, NULL, e) ||
        !go_through(from, take, &all, &done, out, e))
        return false;
    *n_bytes = layout_bytes(&all);
    return digest_spool(out, *n_bytes, digest, e);
}

void frames_digest(const void *bytes, size_t n, unsigned char digest[FRAMES_DIGEST])
{
    struct sha256_ctx hash;
    sha256_init(&hash);
    sha256_update(&hash, n, bytes);
    sha256_digest(&hash, FRAMES_DIGEST, digest);
}

frames_bytes frames_p_m2_write(const track *t)
{
    frames_bytes b = {.bytes = xmalloc(t->n, FLOAT_BYTES), .n = t->n * FLOAT_BYTES};
    put_doubles(b.bytes, t->p_m2, t->n);
    return b;
}

bool frames_heard_read(const void *bytes, size_t n_bytes, track *t)
{
    size_t m = 0, plain = t->n * FRAMES_OUTLINE;
    if (t->n > n_bytes || n_bytes < plain)
        return false;
    const unsigned char *has = (const unsigned char *)bytes + t->n * 3 * FLOAT_BYTES;
    for (size_t i = 0; i < t->n; i++)
        m += has[i] & TRACK_HAS_HARMONICS;
    size_t without_contact = plain + m * 2 * ROW_BYTES;
    bool contact = n_bytes == without_contact + t->n * CONTACT_BYTES;
    if (t->harmonic_db && n_bytes != without_contact && !contact)
        return false;
    const unsigned char *from = bytes;
    from = get_doubles(from, t->pitch_st, t->n);
    from = get_doubles(from, t->voicing, t->n);
    get_doubles(from, t->level_db, t->n);
    for (size_t i = 0; i < t->n; i++)
        track_set_flags(t, i, has[i]);
    if (!t->harmonic_db)
        return true;
    from = get_harmonics(has + t->n, t, t->harmonic_db, has);
    from = get_harmonics(from, t, t->noise_db, has);
    if (contact && t->n)
        get_contacts(from, t);
    return true;
}

bool frames_registers_read(const void *reg, size_t reg_bytes, const void *p_m2, size_t p_m2_bytes,
                           track *t)
{
    if (reg_bytes != t->n || p_m2_bytes / FLOAT_BYTES != t->n || p_m2_bytes % FLOAT_BYTES)
        return false;
    if (t->n) {
        memcpy(t->reg, reg, t->n);
        get_doubles(p_m2, t->p_m2, t->n);
    }
    for (size_t i = 0; i < t->n; i++)
        if (t->reg[i] > 2)
            return false;
    return true;
}

frames_bytes frames_known_write(const known *k)
{
    double numbers[KNOWN_SIZE];
    frames_bytes b = {.bytes = xmalloc(KNOWN_SIZE, FLOAT_BYTES), .n = KNOWN_SIZE * FLOAT_BYTES};
    known_pack(k, numbers);
    put_doubles(b.bytes, numbers, KNOWN_SIZE);
    return b;
}

bool frames_known_read(const void *bytes, size_t n_bytes, known *k)
{
    double numbers[KNOWN_SIZE];
    bool right = n_bytes == KNOWN_SIZE * FLOAT_BYTES;
    if (right)
        get_doubles(bytes, numbers, KNOWN_SIZE);
    return known_unpack(numbers, right ? KNOWN_SIZE : 0, k);
}
