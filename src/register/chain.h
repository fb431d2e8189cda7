/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_CHAIN_H
#define REGISTER_CHAIN_H

/* The hidden chain: register s = -1/2 or +1/2 and a slow drift d of the same direction.
 *
 * Vowel, resonance tuning and what the regression misses move the harmonics along the step from
 * M1 to M2 as the register does, but slowly; only a step of s is a flip. d is a mean-reverting walk
 * on a grid whose first two moments per frame are those of an Ornstein-Uhlenbeck process. */

#include "register/evidence.h"
#include "register/model.h"

typedef struct chain_settings {
    double temper;   /* share of the nominal evidence of 5 ms: neighbouring frames say the same */
    double drift_sd; /* of d, in steps from M1 to M2 */
    double drift_s;  /* its time constant, seconds */
    double place;    /* share of the prior log odds of pitch and level that each frame counts */
    double hush_lo_s, hush_hi_s; /* evidence of frames nearer to an end of voice counts 0 .. 1 */
} chain_settings;
chain_settings chain_defaults(void);

/* Log odds of a flip at each frame (entering it), and of M2 by pitch and level alone. */
typedef struct chain_inputs {
    const saying *says;     /* [n] */
    const double *up;       /* [n] probability of M1 -> M2 on entering frame i from M1 */
    const double *down;     /* [n] probability of M2 -> M1 */
    const double *place;    /* [n] log odds of M2 by pitch and level */
    const double *opt_told; /* [n] log odds that it was M1 just before frame i, by how the pitch
                               leaps into it; NULL: nothing */
} chain_inputs;

/* Forward-backward. Out: opt_p2[n], or NULL; opt_without, or NULL: the log-likelihood without any
 * flip. Returns that with flips; both up to the same constant. */
double chain_run(const evidence *ev, const chain_inputs *in, const chain_settings *s,
                 double *opt_p2, double *opt_without);

#endif
