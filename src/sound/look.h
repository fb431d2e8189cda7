/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_LOOK_H
#define SOUND_LOOK_H

/* What is seen of one channel in a sixteenth of a second: whether it has one pitch, and how its
 * harmonics fall. */

#include <stdbool.h>
#include <stddef.h>

enum { LOOK_FRAME_MOST = 1024, LOOK_FFT_MOST = 2 * LOOK_FRAME_MOST };
#define LOOK_SAME_PERIOD 0.03 /* by less two periods are the same */

typedef struct looker {
    double rate_hz;
    size_t frame, fft; /* samples of a look, and of its spectrum */
    double window[LOOK_FRAME_MOST], window_acf[LOOK_FFT_MOST];
} looker;

typedef struct look {
    double power;    /* of the frame */
    double pitched;  /* autocorrelation at the period, 0..1 */
    double period;   /* in samples */
    double bumps_db; /* of its harmonics about a straight fall; NaN with fewer than four */
    double slope;    /* of that fall, dB an octave */
    bool falls;      /* the first of them is the strongest */
    /* At the period of the channel that is pitched most: */
    double with;      /* autocorrelation */
    double second_db; /* level of the second harmonic, re the first */
} look;

looker looker_new(double rate_hz);

/* x[frame]. spectrum[fft] and acf[fft] are what look_together() goes by. */
look look_at(const looker *l, const double *x, double *acf, double *spectrum);
/* looks[n] of n channels at one time, spectra and autocorrelations one after the other: fills what
 * they are at the period of the one that is pitched most. */
void look_together(const looker *l, size_t n, const double *acf, const double *spectra,
                   look *looks);

#endif
