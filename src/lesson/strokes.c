/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "lesson/strokes.h"

#include <assert.h>

void strokes_add(sheet_line *l, int reg, int from_st, int to_st, double from_db, double to_db,
                 double seconds)
{
    assert(l->n_strokes < SHEET_STROKES);
    l->strokes[l->n_strokes++] =
        (sheet_stroke){reg, from_st, to_st, from_db, to_db, seconds, false};
}

void strokes_breath(sheet_line *l)
{
    l->strokes[l->n_strokes - 1].breath = l->n_strokes > 1;
}

void strokes_slide(sheet_line *l, int reg, int from_st, int to_st, double db)
{
    strokes_add(l, reg, from_st, to_st, db, db, STROKES_SLIDE_S);
    strokes_breath(l);
    strokes_add(l, reg, to_st, from_st, db, db, STROKES_SLIDE_S);
}

void strokes_swell(sheet_line *l, int reg, int st, places_room r)
{
    strokes_add(l, reg, st, st, r.lo_db, r.hi_db, STROKES_SWELL_S);
    strokes_breath(l);
    strokes_add(l, reg, st, st, r.hi_db, r.lo_db, STROKES_SWELL_S);
}
