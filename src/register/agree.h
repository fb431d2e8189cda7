/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_AGREE_H
#define REGISTER_AGREE_H

/* How well what the microphone alone tells agrees with the EGG, where the EGG tells. */

#include "register/flip.h"
#include "voice/track.h"

struct contact;  /* register/contact.h */
struct evidence; /* register/evidence.h */

static const double AGREE_WITHIN_S = 0.06; /* flips of one direction this near are the same */

typedef struct agreement {
    double egg_s;        /* of voice in which the EGG tells the register; 0 without one */
    size_t frames, same; /* of these, told by the microphone, too; told the same */
    size_t egg_flips,
        mic_flips;  /* where the EGG tells; those of the microphone are asserted ones */
    size_t matched; /* pairs of them */
} agreement;

/* The tracks' reg and heard[k] are what the microphone alone tells. */
agreement agree_count(const struct contact *c, const struct evidence *ev, track *const *tracks,
                      size_t n_tracks, const flips *heard);
/* Where the EGG tells few of the flips that the microphone hears, or names more than a quarter
 * of the voice otherwise, its contact may step by less than is usual. A finer look with no fewer
 * flips, two thirds of which the microphone hears, too, and its agreement take the place of *c and
 * *agreed; false where there is none. */
bool agree_finer(struct contact **c, const struct evidence *ev, track *const *tracks,
                 size_t n_tracks, const flips *heard, agreement *agreed);
/* Whether an EGG of which it is unclear which way contact counts misses most of the flips that the
 * microphone hears: then it is no guide. */
bool agree_denied(const struct contact *c, const agreement *agreed);
void agree_add(agreement *sum, const agreement *more);

#endif
