/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_INTERRUPT_H
#define COMMAND_INTERRUPT_H

/* Ctrl-C and SIGTERM wait while something is finished that should not be left half done; the
 * program asks for them where it can stop. */

#include <stdbool.h>

void interrupt_hold(void);
/* One has come: from now on the next one ends the program at once. */
bool interrupt_came(void);

#endif
