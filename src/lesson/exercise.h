/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_EXERCISE_H
#define LESSON_EXERCISE_H

/* The exercises of independent control: hold one of pitch, level and register and vary another (six
 * pairs), hold two and vary the third (three), and vary one with nothing held (three free
 * explorations). */

#include "base/message.h"

#include <stdbool.h>
#include <stddef.h>

/* The dimensions as bits, in the order of "pitch|level|register". */
enum { LESSON_PITCH = 1, LESSON_LEVEL = 2, LESSON_REGISTER = 4, LESSON_ALL = 7 };

enum { EXERCISES = 12 };
typedef struct exercise {
    int hold, vary;
    const char *name; /* "vary pitch, hold level", "explore pitch", ... */
} exercise;
extern const exercise exercises[EXERCISES]; /* the free ones first, then pairs, then combined */

/* The one with these bits; NULL when it is none of them. -1, not stated, is none. */
const exercise *exercise_find(int hold, int vary);
/* False, with one sentence, where something is both held and varied. */
bool exercise_check(int hold, int vary, err *e);

#endif
