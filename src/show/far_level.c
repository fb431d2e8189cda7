/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "show/far_level.h"

#include <math.h>

const char far_level_words[] =
    "Not all was sung as soft or as loud as that: lines are prolonged to that level.";

/* Levels closer than this are not soft and loud. */
static const double alike_db = 4;
/* And a level that much outside is not worth a word. */
static const double near_db = 1;

static double outside_db(double at_db, double lo_db, double hi_db)
{
    return fmax(0, fmax(lo_db - at_db, at_db - hi_db));
}

bool far_level(const boundary *b, flip_direction d)
{
    double lo, hi;
    return boundary_levels(b, d, &lo, &hi) && outside_db(boundary_at_db(b), lo, hi) > near_db;
}

bool far_level_check(const boundary *b, const char *who, err *e)
{
    double lo[2], hi[2], at = boundary_at_db(b);
    for (int d = 0; d < 2; d++)
        boundary_levels(b, (flip_direction)d, &lo[d], &hi[d]);
    double from = fmin(lo[0], lo[1]), to = fmax(hi[0], hi[1]);
    return !(outside_db(at, from, to) > fmax(alike_db, to - from)) ||
           err_set(e,
                   "Nothing is known of %s at %.1f dB: takes came to the flip from %.1f to %.1f "
                   "dB. Choose --at nearer to them.",
                   who, at + 0.0, from + 0.0, to + 0.0);
}
