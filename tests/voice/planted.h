/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_PLANTED_H
#define VOICE_PLANTED_H

/* Faults of recordings at the strengths from which the checks are to name them. */

#include "voice/checkup.h"
#include "voice/faults.h"

typedef struct planted {
    const char *what;
    void (*by)(sound *x, double strength);
    double strength;
    check_name names;
    double least; /* share of sessions in which it is to be named */
    check_result as;
} planted;

extern const planted planted_faults[]; /* from the weakest strength of each; beneath, some are */
extern const size_t n_planted_faults;
/* Noise and hum near the rules of 10 and 15 dB: the result is to be just `as`. */
extern const planted planted_near[];
extern const size_t n_planted_near;

/* Mean square, C-weighted, of the softest half second that sounds, but for 2 % of them. */
double planted_softest(const sound *x);
void planted_scale(sound *x, double peak); /* to that highest peak */
/* Checked through a file of libsndfile's format; false with one sentence. */
bool planted_check(const sound *x, int format, checkup *found, err *e);

#endif
