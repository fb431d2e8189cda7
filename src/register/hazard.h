/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_HAZARD_H
#define REGISTER_HAZARD_H

/* How likely a flip is on entering each frame: rare, likelier where the pitch leaps or harmonics
 * and level step at once. */

#include "register/evidence.h"

typedef struct hazard_settings { /* gains are log odds */
    double rate;                 /* 0.1 flips a second where nothing speaks for one */
    double leap_gain;            /* 3 a semitone beyond leap_free_st, up to leap_most */
    double leap_free_st;         /* 0.5: vibrato and its residue stay below */
    double leap_most;  /* 20: a leap alone does not outweigh what the harmonics say for long */
    double leap_even;  /* 9: at most so much where half of the singer's leaps are flips */
    double leap_alike; /* 3: and so many times the log odds of one being a flip more: a singer's
                          leaps are alike, and the registers of the round before are half right */
    double trip_gain, trip_most; /* 6, 20: of a leap that surely belongs to a short trip */
    double
        slide_full; /* 2: from so many semitones a second on a leap amid a slide counts in full */
    /* A leap counts in full where the pitch moves 0.85 of it in 40 ms, from 0.5 down 0.15. */
    double sudden_lo, sudden_hi, slow_share;
    double against; /* 0.3 of it for a leap down into M2 or up into M1: rare, but seen */
    double before;  /* 0.5 of what a leap tells of the register before it: see hazard_measure() */
    double step_gain, step_most; /* 1 a nat of what harmonics and level say, up to 6 */
} hazard_settings;
hazard_settings hazard_defaults(void);

/* up_step[n], down_step[n]: see register/steps.h. Out: up[n] M1 to M2, down[n] M2 to M1; 0 within
 * 30 ms of an end of what is sung, where a flip cannot be told from the end, and where somebody
 * says that there is none; 0.5 where somebody says that there is one. opt_told[n], or NULL: log
 * odds that it was M1 before. A pitch that leaps up as no voice does within a register tells that
 * it was in M1, as it tells that it is in M2 now. */
void hazard_measure(const evidence *ev, const double *up_step, const double *down_step,
                    const hazard_settings *s, double *up, double *down, double *opt_told);

/* What a leap may gain at most where p2[n], the probability of M2, takes so many of the singer's
 * leaps for flips as it does: in a melody few are, in a yodel nearly all. At most s->leap_most, and
 * not below 0. */
double hazard_leap_most(const evidence *ev, const double *p2, const hazard_settings *s);

#endif
