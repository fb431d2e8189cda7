/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_MESSAGE_H
#define BASE_MESSAGE_H

/* One sentence of error, and warnings on stderr.
 *
 * A function that the world can make fail returns false and leaves one whole sentence in its
 * err: what, where, how much, what to do. It is not printed there: main does that. */

#include <stdbool.h>

typedef struct err {
    char text[1024]; /* a whole sentence without a trailing newline; cut at the end if longer */
} err;

/* Writes the sentence; always returns false, so that `return err_set(e, ...)` reads well. */
bool err_set(err *e, const char *format, ...) __attribute__((format(printf, 2, 3)));

/* Prints "seamline: SENTENCE\n" on stderr; for what is worth knowing but stops nothing. Control
 * characters are shown as "?"; longer sentences than err holds are cut. */
void message_warn(const char *format, ...) __attribute__((format(printf, 1, 2)));

#endif
