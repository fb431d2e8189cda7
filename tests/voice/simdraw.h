/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_SIMDRAW_H
#define VOICE_SIMDRAW_H

/* Singers and takes drawn from ranges, for simulations of the boundary. */

#include "voice/simpath.h"

/* Slope -0.1 to 0.4 st/dB, spreads 0.3 to 1.2 st, hysteresis 0.5 to 4 st, take offset 0 to 0.7 st,
 * leap 0 to 8 st with a standard deviation of 0 to 1.5 from flip to flip; down.slope differs from
 * up.slope by at most `apart`. */
simsinger simdraw_singer(double false_share, double apart, gsl_rng *r);

/* Three takes in ten are swells between the boundaries, the others slides across them at 58 to 82
 * dB whose level drifts by up to 3 dB. */
simtake simdraw_take(const simsinger *s, gsl_rng *r);

#endif
