/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_CYCLES_H
#define VOICE_CYCLES_H

/* Glottal cycles, and which of them are irregular.
 *
 * Each cycle is found from the one before by waveform matching (Titze and Liang 1993, "Comparison
 * of F0 extraction methods for high-precision voice perturbation measurements"; from memory): the
 * lag, near the period that the pitch gives, at which a period of sound about one mark is most like
 * that about the next. A cycle is irregular when its period lies more than 5 % or its level more
 * than 2 dB from all three that its neighbours foretell: their mean, and the straight lines through
 * the two before and the two after. So a slide, a swell and a leap within a few cycles are regular,
 * while jitter of 0.2-1 % and shimmer of 0.1-0.4 dB, usual in sung vowels (from memory), stay far
 * below. */

#include "sound/signal.h"

#include <stddef.h>

/* Frames at i * hop_s, pitch_st NaN where there is no voice. Out: irregular[n], how many irregular
 * cycles begin nearest to the frame, at most CYCLES_MOST; 0 without voice, and for the two cycles
 * at either end of it. */
enum { CYCLES_MOST = 63 };
void cycles_measure(const signal *x, double hop_s, size_t n, const double *pitch_st,
                    unsigned char *irregular);

#endif
