/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_SIMBOUND_H
#define VOICE_SIMBOUND_H

/* Cramer and Rao's bound: the least variance that an unbiased estimate of a simulated singer's
 * boundary can have from such takes.
 *
 * Fisher's information is the sum over the takes of the mean outer product of the score at the
 * truth, each take sung twenty times anew. The model is the fit's, with nothing taken for granted:
 * no prior, no share of wrong flips, two slopes, no curve. */

#include "voice/simpath.h"

#include <gsl/gsl_matrix.h>

enum { SIMBOUND_UP_SLOPE = 2, SIMBOUND_PARAMETERS = 7 };

/* Adds one take's information, the mean of so many times, to the lower half of a matrix of
 * SIMBOUND_PARAMETERS rows. */
void simbound_information(const simsinger *s, simtake take, double at_db, size_t times, gsl_rng *r,
                          gsl_matrix *information);

/* Adds to variance[row], up.pitch to hysteresis, in their units squared. False, and nothing added,
 * when the takes do not tell all. */
bool simbound_add(const simsinger *s, const simtake *takes, size_t n, double at_db, gsl_rng *r,
                  double variance[BOUNDARY_ROWS]);

#endif
