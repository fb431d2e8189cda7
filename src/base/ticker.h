/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_TICKER_H
#define BASE_TICKER_H

/* Progress of long work: one line on stderr with the time left, redrawn in place, and only where
 * stderr is a terminal. */

#include <stdbool.h>
#include <stddef.h>

typedef struct ticker ticker;

/* `what` is counted: "takes". Quiet, total = 0 and a stderr that is no terminal draw nothing. */
ticker *ticker_new(const char *what, size_t total, bool quiet);
/* `done` of total are finished; draws at most ten times a second. */
void ticker_show(ticker *t, size_t done);
/* Clears the line, so that a message or a row can be printed; the next ticker_show draws again. */
void ticker_hide(ticker *t);
void ticker_free(ticker *t); /* clears the line; NULL allowed */

/* "3 of 12 takes, 1 min 20 s left" for `elapsed_s` seconds so far; without an estimate when
 * nothing is done yet. */
enum { TICKER_LINE_SIZE = 160 };
void ticker_line(const char *what, size_t done, size_t total, double elapsed_s,
                 char line[TICKER_LINE_SIZE]);

#endif
