/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_MANUAL_H
#define COMMAND_MANUAL_H

/* A manual page in the man macros of groff (groff_man(7)), from the same tables as --help. */

#include "command/command.h"

/* The page seamline-NAME.1 of one command; c NULL: seamline.1, of the program. */
void manual_print(const command *c, FILE *out);

#endif
