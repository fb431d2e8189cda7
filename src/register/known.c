/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/known.h"

#include <math.h>
#include <string.h>

void known_pack(const known *k, double out[KNOWN_SIZE])
{
    const double rest[] = {k->m.lo,     k->m.hi,        k->m.pitch_mid, k->where.mid,
                           k->where.at, k->where.pitch, k->where.level};
    memcpy(out, k->m.beta, sizeof k->m.beta);
    memcpy(out + MODEL_SIZE, k->m.sigma, sizeof k->m.sigma);
    memcpy(out + MODEL_SIZE + HARMONICS * HARMONICS, rest, sizeof rest);
}

bool known_unpack(const double *v, size_t n, known *k)
{
    *k = (known){.m = {.hi = 0}};
    if (n != KNOWN_SIZE)
        return false;
    for (size_t i = 0; i < n; i++)
        if (!isfinite(v[i]))
            return false;
    const double *rest = v + MODEL_SIZE + HARMONICS * HARMONICS;
    if (rest[1] <= rest[0])
        return false;
    memcpy(k->m.beta, v, sizeof k->m.beta);
    memcpy(k->m.sigma, v + MODEL_SIZE, sizeof k->m.sigma);
    k->m.lo = rest[0];
    k->m.hi = rest[1];
    k->m.pitch_mid = rest[2];
    k->where = (place){rest[3], rest[4], rest[5], rest[6]};
    return true;
}
