/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE3_PERIODS_H
#define VOICE3_PERIODS_H

/* The truth of the third voice, measured from the folds' motion cycle by cycle.
 *
 * A cycle begins where the narrowest area rises through the middle of the cycle before. Its
 * contact is the share of the folds' depth that touches, averaged over the cycle: what an EGG
 * would show. The register is M1 where that exceeds the singer's bound (by a tenth for a change to
 * M1, and below it by a tenth for a change to M2), else M2; stays shorter than 80 ms, and than 0.2
 * s where the voice sets in or ends, go to the register beside them. A flip is a change of
 * register in which half of the contact or more goes or comes within 0.25 s; in others the folds
 * part little by little. */

#include <stdbool.h>
#include <stddef.h>

typedef struct motion { /* every sample */
    size_t n;
    double rate_hz;
    float *area_m2, *contact;
} motion;

typedef struct period {
    double start_s, length_s;
    double contact;  /* over the cycle */
    double swing_m2; /* of the area */
    int reg;         /* 1, 2; 0: hardly any motion */
} period;

typedef struct change {
    double time_s;              /* half of the contact's step */
    bool up;                    /* into M2 */
    bool sudden;                /* a flip: half of the contact and more within 0.25 s */
    double span_ms;             /* 10-90 % of the contact's step */
    double before_st, after_st; /* means of 50 ms beside the span */
} change;

typedef struct periods {
    size_t n, n_changes;
    period *items;
    change *changes;
} periods;

periods periods_measure(const motion *m, double contact_bound);
void periods_clear(periods *p);

/* The register at a time, 0 not voiced; *pitch_st, from the cycles within 10 ms, NaN then. */
int periods_at(const periods *p, double time_s, double *pitch_st);

#endif
