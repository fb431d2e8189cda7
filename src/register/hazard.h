/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_HAZARD_H
#define REGISTER_HAZARD_H

/* How likely a flip is at each frame before the harmonics are asked: a leap of the pitch and a dip
 * of the level raise it. And how likely M2 is at a pitch and level, learnt from the singer. */

#include "register/evidence.h"

typedef struct hazard_settings {
    double rate;      /* flips a second where nothing speaks for one */
    double leap_gain; /* log odds per semitone of leap beyond leap_free_st, up to leap_most */
    double leap_free_st, leap_most;
    double against;  /* share of the gain for a leap against the usual direction (down into M2) */
    double dip_gain; /* log odds per dB of dip beyond 1 dB, up to dip_most */
    double dip_most;
} hazard_settings;
hazard_settings hazard_defaults(void);

/* up[n], down[n]: probabilities on entering the frame. */
void hazard_measure(const evidence *ev, const hazard_settings *s, double *up, double *down);

typedef struct place { /* log odds of M2 = at + pitch * (p - mid) - level * l */
    double mid, at, pitch, level;
} place;

/* Penalised logistic regression of p2 on pitch and level; the slope on pitch stays >= 0. */
place place_fit(const evidence *ev, const double *p2);
void place_measure(const evidence *ev, const place *p, double *log_odds);

#endif
