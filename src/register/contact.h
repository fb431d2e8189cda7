/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_CONTACT_H
#define REGISTER_CONTACT_H

/* The register by the folds' contact alone, where there is an EGG channel that can be used.
 *
 * Told from three figures of a frame: contact quotient, logarithm of the closing peak of the
 * signal's derivative, and that over the opening one; and from how the amplitude falls (see
 * register/contact_level.h). M1 has long contact that comes at once, M2 brief contact that comes as
 * it goes (sources in docs/egg.md). Where the two lie is the
 * singer's own, about what is usual; they may drift within a register; a flip is a step. */

#include "register/chain.h"
#include "register/evidence.h"
#include "register/refine.h"

enum { CONTACT_FIGURES = 3 };
/* M2 is sung from some 150 Hz on, M1 up to some 700 (after Hollien 1974, from memory: 156-795 and
 * 71-561 Hz in men, 210-1729 and 122-798 in women). */
static const double CONTACT_M2_FROM_ST = 50, CONTACT_M1_TO_ST = 78;

typedef struct contact {
    size_t n;      /* of the evidence's frames */
    size_t usable; /* of these with contact that can be used */
    bool *told;    /* [n] the EGG tells the register: it is used, or used on both sides and near */
    double *p2;    /* [n] probability of M2; 0.5 where there is nothing to go by */
    saying *says;  /* [n] where a frame lies between the registers; 0 where not usable */
    double m1[CONTACT_FIGURES], m2[CONTACT_FIGURES]; /* the singer's own, about */
    bool unclear;                /* of most of them it is not known which way contact counts */
    size_t m1_frames, m2_frames; /* told to be in each: none, or a tenth of a second at least */
} contact;

/* Which frames are told, where p2 is known and contact can be used in usable[n]. */
void contact_tell(contact *c, const evidence *ev, const bool *usable);
/* The same of what is not told of the stretch first..last - 1: M2 where contact is lost while the
 * pitch leaps up, and comes back to M1 while it leaps down. */
void contact_tell_lost(contact *c, const evidence *ev, const bool *usable, size_t first,
                       size_t last);
/* NULL where less than half a second of contact can be used. */
contact *contact_new(const evidence *ev, track *const *tracks);
/* For a singer whose steps are smaller than is usual, begun from the registers that the tracks
 * hold. It makes two of one register's own drift, too: believe it where something else agrees. */
contact *contact_finer(const evidence *ev, track *const *tracks);
void contact_free(contact *c); /* NULL allowed */

bool contact_both(const contact *c); /* the EGG tells both registers */
/* How sure it is that one register is before evidence frame i and the other after it: as sure as of
 * the less sure of the two within 0.2 s; 0 where the EGG does not tell both. */
double contact_tells_flip(const contact *c, const evidence *ev, size_t i, bool up);
/* The place and width of the flip on entering frame `at`, nothing else happening in first..last:
 * where contact is half-way, and a tenth and nine tenths, between what it is 125 to 300 ms before
 * and after (nearer in shorter stays). False where the EGG does not show it. */
bool contact_place(const contact *c, const double *time_s, size_t first, size_t last, size_t at,
                   refined *out);

/* Declares the frames that are told, where they are not declared already. */
void contact_pin(const contact *c, evidence *ev);

#endif
