/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_TERMINAL_H
#define BASE_TERMINAL_H

/* What a terminal can show. */

#include <stdbool.h>
#include <stddef.h>

/* Whether to set bold and the like there: it is a terminal, not a dumb one ($TERM), and $NO_COLOR
 * is unset or empty (no-color.org). */
bool terminal_colours(int fd);

/* Columns of the terminal, by $COLUMNS or as it says itself, 80 when it says nothing; 0 when fd is
 * no terminal: as wide as one likes. */
size_t terminal_columns(int fd);

#define TERMINAL_BOLD "\033[1m"
#define TERMINAL_FAINT "\033[2m"
#define TERMINAL_PLAIN "\033[0m"

#endif
