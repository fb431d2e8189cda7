/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_NOTE_TICS_H
#define SHOW_NOTE_TICS_H

/* The pitch axis of a picture. */

#include "show/gnuplot.h"

typedef enum note_names { NAME_ALL, NAME_FEW, NAME_NONE } note_names;

/* Sets a string variable to the command that sets the tics from lo_st to hi_st: a grid line for
 * every white key; names for all of them, for C and F alone, or for none. */
void note_tics_send(gnuplot *g, const char *variable, double lo_st, double hi_st, double a4_hz,
                    note_names names);

#endif
