/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_LEAP_H
#define LESSON_LEAP_H

/* What the pitch and the level of a take do apart from the steps of its flips.
 *
 * Leaps away from a note at which no flip was heard. Where a voice changes its register again and
 * again on one note some of its flips are heard and others missed; the pitch tells of these, too.
 *
 * The note is the median of the pitch, if two fifths of the voice lie within a semitone of it; in
 * slides and tunes they do not, and then there are none. A leap takes the pitch away from it within
 * 80 ms by `least_st` or more, 2 semitones at least, more than a wide vibrato does; of several
 * within 150 ms it is the largest. Common practice, no source. */

#include "lesson/outline.h"
#include "register/flip.h"
#include "voice/track.h"

/* Adds those with no flip of `known` within 100 ms, in order of time, as flips of confidence 1
 * whose level step is NaN. */
void leap_add(const track *t, double least_st, flips *known);

/* What is meant beneath what flips do to it, in place of x, pitch or level of the outline's points.
 * A leap at a flip is not meant, nor is what the voice glides back of it afterwards: what is meant
 * moves only as far as x leaves the span from there to the end of the leap. The level leaps by the
 * flips' own steps; the pitch, and the level where no step is told, by all that x does there. */
void leap_take_out(const outline *c, const track *t, const flips *known, bool level, double *x);

#endif
