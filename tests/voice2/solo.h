/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_SOLO_H
#define VOICE2_SOLO_H

/* Exercises of either test voice, one take at a time: sung as asked, with what was sung, what came
 * to the microphone, and what is heard of it. */

#include "base/message.h"
#include "register/flip.h"
#include "voice/mouth.h"
#include "voice/sing.h"
#include "voice/track.h"
#include "voice2/vocalist.h"

typedef struct soloist {
    int voice; /* 1 or 2 */
    singer one;
    vocalist two;
    double edge_st, middle_db; /* where the voice flips up at its middle level */
} soloist;

typedef enum solo_kind {
    SOLO_HOLD,
    SOLO_SLIDE, /* from_st to to_st, from_db to to_db */
    SOLO_SWELL, /* from_db to to_db and back */
    SOLO_ATWILL /* a hold in which the register is changed at will */
} solo_kind;

typedef struct solo_plan {
    solo_kind kind;
    int held; /* 1 or 2: no flip; 0: they may come */
    double from_st, to_st, from_db, to_db;
    double cents_per_10_db; /* planted in the pitch, none at middle_db */
    mouth by;
    double seconds;
} solo_plan;

typedef struct solo {
    sound x;        /* as recorded */
    track *meant;   /* pitch, register, and level as it left the mouth: without noise and jitter */
    track *arrived; /* the same with the level that came to the microphone, without its noise */
    flips sung;     /* time, direction, span; the leap as sung, the level's step as it arrived */
} solo;

soloist soloist_draw(int voice, const char *named, uint64_t seed);
solo solo_sing(const soloist *who, const solo_plan *p, int take);
void solo_clear(solo *s);

/* Through a WAV of 24 bits; NULL with one sentence. */
track *solo_hear(const sound *x, err *e);

#endif
