/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_ALONE_H
#define REGISTER_ALONE_H

/* Takes that tell more by themselves than among all of a singer's.
 *
 * Where vowels change, a model of all takes may take a flip for a change of vowel, as it has seen
 * it in other takes. A take that, heard by itself, knows of every flip that it was told among all
 * (as a doubtful one of 0.3 at least, within 100 ms) and of another with a confidence of 0.9, or
 * of 0.95 where it was told none, and of none that leaps by more than 13.5 semitones, is told as it
 * hears itself. */

#include "register/decode.h"

/* In and out: the tracks' registers and the flips found[n] of all takes together. Takes that
 * are declared stay as they are, and those of which frames are stated. */
void alone_mend(track *const *tracks, size_t n, double least_listed, effort *opt_effort,
                flips *found);

#endif
