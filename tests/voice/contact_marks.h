/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_CONTACT_MARKS_H
#define VOICE_CONTACT_MARKS_H

/* What an EGG told, held against the truth: counts that add up over takes and singers. */

#include "register/agree.h"
#include "voice/track.h"
#include "voice/truth.h"

#include <stddef.h>

enum { CONTACT_STEPS = 200 };

typedef struct contact_marks {
    size_t voiced, usable; /* truth-voiced frames with the skin's contact; of these usable ones */
    size_t lost, lost_usable;  /* without it; those that pass for usable all the same */
    size_t off[CONTACT_STEPS]; /* usable frames by |error| of the quotient, in steps of 0.001 */
    agreement agreed;          /* of the microphone alone with the EGG */
} contact_marks;

void contact_marks_take(contact_marks *m, const truth_take *t, const track *found);
void contact_marks_add(contact_marks *sum, const contact_marks *more);
double contact_marks_off(const contact_marks *m, double q); /* quantile of the error; NaN: none */

#endif
