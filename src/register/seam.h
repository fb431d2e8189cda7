/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_SEAM_H
#define REGISTER_SEAM_H

/* How audible a flip is, in just noticeable differences (JND).
 *
 *   seam = sqrt(share^2 (leap^2 + level^2 + spectrum^2) + irregular cycles),
 *
 * each step over its JND: 10 cents (Hill and Summers 2007, JASA 121:2376, in short melodies), 1 dB
 * (Jesteadt, Wier and Green 1977, JASA 61:169; from memory) and 3.2 dB of the first harmonic
 * (Kreiman and Gerratt 2010, JASA 128:2085). Squares add as those of independent cues do (Green and
 * Swets 1966, d'; from memory). `share` is the part of the change that falls within 100 ms: what
 * takes longer is heard as a motion, not as a break. That 100 ms and one JND for an irregular cycle
 * are our own choice, no source. */

#include "register/flip.h"

#include <stddef.h>

/* From the steps, the span and the cycles of f; NaN where a step is NaN. */
double seam_of(const flip *f);

/* Median over the asserted flips; NaN when there is none. */
double seam_median(const flips *found, size_t n);

#endif
