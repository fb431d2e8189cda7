/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SHOW_EXPLAIN_DRAW_H
#define SHOW_EXPLAIN_DRAW_H

/* The picture of why registers and flips were told: tract, sources, and what spoke for and against
 * each of the first EXPLAIN_FLIPS flips, in characters as many as there are rows for. */

#include "register/explain.h"
#include "show/picture.h"

enum { EXPLAIN_FLIPS = 24 };

/* `registers`: the sentence that says which were heard. */
bool explain_draw(const explanation *why, const char *registers, const picture *where, err *e);

#endif
