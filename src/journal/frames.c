/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "journal/frames.h"

#include "base/array.h"
#include "voice/egg.h"

#include <math.h>
#include <nettle/sha2.h>
#include <stdint.h>
#include <string.h>

enum {
    FLOAT_BYTES = 4,
    HARMONIC_BYTES = 2 * TRACK_HARMONICS * FLOAT_BYTES,
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

static unsigned char *put_harmonics(unsigned char *to, const track *t, const float *values,
                                    const unsigned char *has)
{
    for (size_t i = 0; i < t->n; i++)
        for (size_t h = 0; has[i] & TRACK_HAS_HARMONICS && h < TRACK_HARMONICS; h++)
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

frames_bytes frames_heard_write(const track *t)
{
    size_t m = 0, floats = 3 * FLOAT_BYTES + 1 + (t->egg ? CONTACT_BYTES : 0);
    for (size_t i = 0; i < t->n; i++)
        m += track_flags(t, i) & TRACK_HAS_HARMONICS;
    frames_bytes b = {.n = t->n * floats + m * HARMONIC_BYTES};
    unsigned char *to = b.bytes = xmalloc(b.n, 1);
    to = put_doubles(to, t->pitch_st, t->n);
    to = put_doubles(to, t->voicing, t->n);
    to = put_doubles(to, t->level_db, t->n);
    unsigned char *has = to;
    for (size_t i = 0; i < t->n; i++)
        *to++ = track_flags(t, i);
    to = put_harmonics(to, t, t->harmonic_db, has);
    to = put_harmonics(to, t, t->noise_db, has);
    for (size_t i = 0; t->egg && i < t->n; i++)
        to = put_contact(to, &t->egg[i]);
    return b;
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
    size_t without_contact = plain + m * HARMONIC_BYTES;
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
