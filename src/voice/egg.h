/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_EGG_H
#define VOICE_EGG_H

/* The contact of the vocal folds in each frame, from an electroglottograph (EGG).
 *
 * A cycle begins where contact rises fastest, the peak of the signal's derivative. Its contact
 * quotient is the share of the cycle up to where contact ends: after Howard 1995 (J Voice 9:163,
 * from memory), where the signal falls below 3/7 of the cycle's amplitude; after Henrich et al.
 * 2004 (JASA 115:1321, from memory), at the derivative's negative peak, which has to be a single
 * one. The microphone's pitch says how long a cycle about is; its half and double are tried. */

#include <stddef.h>

typedef struct egg_frame {
    float quotient; /* to 3/7, 0..1; NaN where there is no whole cycle or no voice, or it is not
                             known which way contact counts */
    float peaks_quotient; /* between the derivative's peaks; NaN also where there are several */
    float closing;        /* the derivative's peak, amplitudes a period: pi for a sine, less
                             smoothing; the more the faster the folds meet; NaN as quotient */
    float opening;        /* its negative peak likewise, as a positive number */
    float level_db;       /* half of the cycle's amplitude, dB re full scale; NaN as quotient */
    float clarity;        /* 0..1, how well one period is like the next; 0 without voice */
} egg_frame;

#define EGG_USABLE 0.6F /* clarity from which on a frame's contact is believed */

/* Which way contact counts. */
typedef enum egg_way { EGG_UNKNOWN, EGG_UP, EGG_DOWN } egg_way;

/* Found from the shape of the cycle: contact comes faster than it goes, in M1 by far; where both
 * slopes are alike, as in falsetto, contact takes less than half of the period. Only stretches with
 * a period count, and of these the loud ones: there the cycle stands out of noise and hum. */
enum { EGG_LOUDNESSES = 48 }; /* steps of 3 dB */
typedef struct egg_shapes {
    double sum, sum_sq;
    size_t n;
} egg_shapes;
typedef struct egg_shape {
    egg_shapes at[EGG_LOUDNESSES]; /* from soft to loud */
} egg_shape;

/* Adds n samples that follow one another. */
void egg_shape_add(egg_shape *s, const float *x, size_t n, double rate_hz);
/* EGG_UNKNOWN where the shape speaks for neither. */
egg_way egg_shape_way(const egg_shape *s);
/* The likelier way all the same: both slopes are alike then, and tell the register either way. */
egg_way egg_shape_guess(const egg_shape *s);

/* Frames at i * hop_s of the sound that starts at x[0], pitch hz[i] (NaN unvoiced). With
 * EGG_UNKNOWN there is clarity alone. Slow movement of the baseline does not matter. */
void egg_measure(const float *x, size_t n, double rate_hz, egg_way way, double hop_s,
                 const double *hz, size_t n_frames, egg_frame *out);

#endif
