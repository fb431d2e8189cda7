/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_BREAKS_H
#define REGISTER_BREAKS_H

/* Sudden steps of pitch and level, however small, beside how both usually move about there: what
 * wanders, glides or swells changes little from frame to frame, what breaks changes much. */

#include "register/evidence.h"
#include "register/ramp.h"

typedef enum breaks_of { BREAKS_OF_PITCH, BREAKS_OF_LEVEL, BREAKS_OF } breaks_of;

/* The changes from frame to frame of one curve about a place, 5 ms apart, less their median. */
typedef struct motion {
    size_t n;
    double first_s;       /* middle of the first, from the place */
    float *y, *there;     /* [n] semitones or dB; 1, or 0 and 0 where the voice has a hole */
    double weight, known; /* 1 / variance of each, by their median size, times the share that each
                             counts for; and of the step beforehand */
} motion;

/* Frames lo..hi of one stretch of voice; `about`: seconds, as in time_s[]; least_step: the step is
 * expected to be as large at least. Free with motion_clear(). */
motion motion_new(breaks_of of, const evidence *ev, const double *time_s, size_t lo, size_t hi,
                  double about, double least_step);
void motion_clear(motion *m);

/* Steps are tried MOTION_STEP_S apart, MOTION_PERIOD of which are two frames. */
enum { MOTION_PERIOD = 5 };
static const double MOTION_STEP_S = 0.002;
/* nats[n] that speak for a step that takes width_s, tau_s and so on from the place, of a size that
 * is not known; the windows through which pitch and level are heard add to width_s. */
void motion_says(const motion *m, breaks_of of, const ramp *r, double width_s, double tau_s,
                 size_t n, double *nats);

/* ev->pitch_break and level_break of frames first..last, one stretch of voice. */
void breaks_measure(evidence *ev, size_t first, size_t last);

#endif
