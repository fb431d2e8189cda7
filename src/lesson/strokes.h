/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_STROKES_H
#define LESSON_STROKES_H

/* Strokes of a line of a sheet, added one after the other. */

#include "lesson/sheet.h"

static const double STROKES_SLIDE_S = 4, STROKES_SWELL_S = 4; /* one way; at ease, no source */

void strokes_add(sheet_line *l, int reg, int from_st, int to_st, double from_db, double to_db,
                 double seconds);
/* Before the one added last, unless it is the first. */
void strokes_breath(sheet_line *l);

/* There and back, after a breath. */
void strokes_slide(sheet_line *l, int reg, int from_st, int to_st, double db);
void strokes_swell(sheet_line *l, int reg, int st, places_room r); /* soft, loud, soft */

#endif
