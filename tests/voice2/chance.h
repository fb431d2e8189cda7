/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_CHANCE_H
#define VOICE2_CHANCE_H

/* The second voice's draws: from a name, a seed and a purpose follows one generator (GSL's
 * ranlxd1), the same on every machine. */

#include <gsl/gsl_rng.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

/* gsl_rng_free. `purpose` is a word: each has its own draws. */
gsl_rng *chance_new(const char *name, uint64_t seed, int take, const char *purpose);

double chance_in(gsl_rng *r, double lo, double hi);
bool chance_of(gsl_rng *r, double probability);
double chance_bell(gsl_rng *r, double sd);     /* normal */
double chance_logistic(gsl_rng *r, double sd); /* wider in the tails than a normal */

/* A wander made of a few slow sinusoids of random phase with periods of about period_s (0.5 to 2
 * times): n steps of step_s seconds, standard deviation sd. */
void chance_wander(gsl_rng *r, size_t n, double step_s, double period_s, double sd, double *out);

#endif
