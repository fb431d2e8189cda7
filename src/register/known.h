/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_KNOWN_H
#define REGISTER_KNOWN_H

/* What is known of a singer on a vowel from takes that were heard before: enough to guess the
 * registers of new ones. */

#include "register/model.h"
#include "register/place.h"

typedef struct known {
    model m; /* m.hi <= m.lo: nothing is known */
    place where;
} known;

/* As plain numbers, to be kept: beta, sigma, lo, hi, pitch_mid of the model; mid, at, pitch, level
 * of the place. */
enum { KNOWN_SIZE = MODEL_SIZE + HARMONICS * HARMONICS + 3 + 4 };
void known_pack(const known *k, double out[KNOWN_SIZE]);

/* False, and nothing known, where there are not KNOWN_SIZE numbers, one is not finite, or the range
 * of frequencies is empty. */
bool known_unpack(const double *v, size_t n, known *k);

#endif
