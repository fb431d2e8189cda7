/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_LESSON_H
#define VOICE_LESSON_H

/* A made-up lesson in one recording: talk, a piano that gives the note, breaths, pauses, and the
 * takes of a singer of the first or second test voice between them, whose times are known. Its
 * difficulty was fixed before anything was tuned on it. */

#include "voice/faults.h"

#include <stdint.h>

typedef struct lesson_take {
    double start_s, end_s; /* from the first to the last 20 ms within 30 dB of its loudest */
} lesson_take;

typedef struct lesson {
    sound x;
    size_t n;
    lesson_take *takes; /* [n] */
} lesson;

/* n takes; a third of them come without a word or note before. `talk` gives the talk in place of
 * speech-like sound (borrowed, may be NULL; at the lesson's rate). It lasts least_s at least: more
 * talk, piano and pauses, evenly over it, see to that. */
lesson lesson_make(int voice, const char *named, uint64_t seed, size_t n, double least_s,
                   int rate_hz, const sound *talk);
void lesson_clear(lesson *l);

#endif
