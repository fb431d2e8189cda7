/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_PITCH_H
#define VOICE_PITCH_H

/* Pitch by dynamic programming over candidates.
 *
 * Candidates are the peaks of the normalised cross-correlation of two stretches of sound that lie
 * symmetrically about the frame, a lag apart (Talkin 1995, "A robust algorithm for pitch
 * tracking", with the two stretches centred so that a frame's time is the centre of all it looks
 * at). A candidate's cost is the logarithm of the power that its period leaves unexplained: that
 * tells a period from its half even where one harmonic carries nearly all the sound. The path pays
 * for leaps only up to a cap, so that a register flip of an octave in 20 ms is followed. */

#include "base/message.h"
#include "sound/signal.h"

#include <stddef.h>

typedef struct pitch_settings {
    double lo_hz;       /* 55: below the lowest sung note of a map */
    double hi_hz;       /* 1500: above the highest */
    double window_lo_s; /* 0.010: shortest stretch compared; noise allows no less */
    double window_hi_s; /* 0.018: longest; a leap of 20 ms must not be averaged away */
    double voiced_at;   /* 0.55: correlation at which voice and no voice cost the same */
    double floor;       /* 0.01: share of power that jitter and noise always leave unexplained */
    double octave_cost; /* cost of each octave down: a double period fits as well as the true one */
    double leap_cost;   /* per semitone and frame beyond leap_free_st */
    double leap_free_st; /* 0.3 semitone a frame: 60 semitones a second, faster than any slide */
    double leap_cap;     /* what any leap costs at most */
    double onset_cost;   /* voice beginning or ending */
    double lasting_at;   /* 0.6: mean correlation over 9 ms that voice has at least */
    double gate_db;      /* frames this far under the loud parts (95 % point) are no voice */
    double loud_db;      /* level of the loud parts; NaN: of the frames given */
} pitch_settings;

pitch_settings pitch_defaults(void);
bool pitch_check(const pitch_settings *s, err *e);

/* Frames at i * hop_s. Out: pitch_st[n], NaN when unvoiced; voicing[n], 0..1. */
void pitch_track(const signal *x, double hop_s, size_t n, const double *level_db,
                 const pitch_settings *s, double *pitch_st, double *voicing);

#endif
