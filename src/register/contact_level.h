/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_CONTACT_LEVEL_H
#define REGISTER_CONTACT_LEVEL_H

/* What the amplitude of an EGG tells of the register: in M2 less of the folds touches, and it falls
 * (Roubeau, Henrich and Castellengo 2009). By how much it stands in a recording is a matter of
 * electrodes and gain, so that each take has its own middle, and one in one register says nothing.
 */

#include "register/evidence.h"

/* From experience, without a source: amplitude falls by 6 to 20 dB. */
static const double CONTACT_FALL_DB = -12, CONTACT_FALL_SD_DB = 6;

typedef struct contact_levels { /* of all usable frames */
    size_t n, takes;
    double *x_db; /* [n] NaN where not usable, and where contact with the skin is lost */
    double *var;  /* [n] dB^2 */
} contact_levels;

typedef struct contact_fall { /* how one singer's amplitude falls */
    double step_db;           /* from M1 to M2, 0 or less */
    double *mid_db;           /* [takes] midway; NaN: nothing is known yet */
} contact_fall;

/* usable[n]: the frames that are looked at. */
contact_levels contact_levels_new(const evidence *ev, track *const *tracks, size_t n_tracks,
                                  const bool *usable);
void contact_levels_clear(contact_levels *l);

/* Probability of a flip into M2, up[n], and into M1, down[n], on entering each frame from the other
 * register: 0.3 a second, and more where the amplitude falls or rises of a sudden. The log
 * likelihood ratio of its step, 20 to 110 ms after less as long before, adds to the log odds at its
 * own peaks within 80 ms, 6 at most; steps within a register are those in the median. */
void contact_levels_hazard(const contact_levels *l, const evidence *ev, double *up, double *down);

/* p2[n] by the amplitude alone, the lower part of each take M2; false where it varies too little
 * everywhere. */
bool contact_levels_guess(const contact_levels *l, const evidence *ev, double *p2);

contact_fall contact_fall_new(const contact_levels *l); /* nothing is known */
void contact_fall_clear(contact_fall *f);

/* Fitted to registers that have probability p2[n] of M2, by weights[n] of the frames; the prior of
 * the step counts as `trust` singers. */
void contact_fall_fit(contact_fall *f, const contact_levels *l, const evidence *ev,
                      const double *p2, const double *weights, double trust);
/* How far a frame's amplitude is from the middle, at most somewhat more than a step, and the
 * variance of that; false where it says nothing. */
bool contact_fall_says(const contact_fall *f, const contact_levels *l, const evidence *ev, size_t i,
                       double *off_db, double *var);

#endif
