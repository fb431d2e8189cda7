/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_STEPS_H
#define REGISTER_STEPS_H

/* How abruptly harmonics and level change as they do at a flip.
 *
 * Looked at are the mean residual of the 90 ms after a frame less that of the 90 ms before it (20
 * ms left out on either side), and the step and the dip of the level (register/evidence.h). They
 * are measured against how such figures usually scatter for this singer. A flip takes 10-150 ms;
 * articulation and the tract's errors take longer, and the usual scatter holds them. */

#include "register/model.h"

/* The harmonics alone: the log-likelihood ratio of a step up into M2 against none is
 * cross - square / 2, of one down -cross - square / 2. `odd` is the mean square, in units of the
 * usual scatter, of what neither explains. All 0 where fewer than three harmonics are there on both
 * sides. */
typedef struct harmonic_step {
    float cross, square, odd;
} harmonic_step;
/* r[ev->n] as for model_emissions(), out[ev->n] */
void steps_of_harmonics(const model *m, const evidence *ev, float (*r)[HARMONICS],
                        harmonic_step *out);

/* p2[ev->n], the probability of M2, tells what the level has done at this singer's flips so far.
 * Out: up[ev->n], down[ev->n], log-likelihood ratio of a flip into M2 or into M1 against none, at
 * its own peaks within 80 ms, else 0; never below 0. */
void steps_measure(const evidence *ev, const harmonic_step *steps, const double *p2, double *up,
                   double *down);

#endif
