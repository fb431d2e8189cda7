/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_VIBRATO_H
#define LESSON_VIBRATO_H

/* The vibrato about an outline: what is left of the pitch when the outline is taken off, where it
 * repeats itself after 1/3.5 to 1/9 s (classical 5 to 7 Hz: Prame 1994; Peking opera about 3.5 Hz;
 * from memory). Its autocorrelation there is to be 0.4 at least, and its extent 10 cents to either
 * side, the just noticeable difference (Hill and Summers 2007, JASA 121:2376). Less than 1 s of
 * outline tells of none. */

#include "lesson/outline.h"

typedef struct vibrato {
    double hz;
    double cents; /* extent to either side of a sine with as much power */
} vibrato;        /* both NaN where there is none */

vibrato vibrato_about(const outline *c, const track *t);

#endif
