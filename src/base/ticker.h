/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_TICKER_H
#define BASE_TICKER_H

/* Progress of long work: one line on stderr with a bar and the time left, redrawn in place, and
 * only where stderr is a terminal. It goes on by itself, so that one long recording, too, shows
 * that something happens. */

#include <stdbool.h>
#include <stddef.h>

typedef struct ticker ticker;

/* `what` is counted, in ASCII: "takes". total 0: one long work, such as "decoding the registers of
 * 12 takes", whose line comes after half a second. Quiet and a stderr that is no terminal draw
 * nothing. `what` is borrowed. */
ticker *ticker_new(const char *what, size_t total, bool quiet);
/* `done` of total are finished; draws at most ten times a second. While Ctrl-C or SIGTERM waits to
 * be heard (blocked), the line says so. */
void ticker_show(ticker *t, size_t done);
/* The same where not all take the same time: the share of the work that is done, 0..1. */
void ticker_show_share(ticker *t, size_t done, double share);
/* The share alone, of a ticker with total 0; it fits `show` of register/effort.h. */
void ticker_share(void *one, double share);
/* Clears the line, so that a message or a row can be printed; the next ticker_show draws again. */
void ticker_hide(ticker *t);
void ticker_free(ticker *t); /* clears the line; NULL allowed */

/* "[=====>              ] 3 of 12 takes, 1 min 20 s left" for `elapsed_s` seconds so far, of which
 * `since_s` since the share of the work that is done last grew; while nothing is done "35 s so far"
 * in its place, from the first second on. For total 0 "[===>     ] 17 % of decoding ...", and
 * without a bar while nothing is done. */
enum { TICKER_LINE_SIZE = 160 };
typedef struct ticker_state {
    const char *what;
    size_t done, total;
    double share, elapsed_s, since_s;
} ticker_state;
void ticker_line(const ticker_state *s, char line[TICKER_LINE_SIZE]);

#endif
