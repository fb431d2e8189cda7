/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_PITCH_H
#define VOICE_PITCH_H

/* Pitch: a path through candidates, made finer by the harmonics' phases, and where there is voice.
 *
 * Candidates are the peaks of the normalised cross-correlation of two stretches of sound that lie
 * symmetrically about the frame, a lag apart (Talkin 1995, "A robust algorithm for pitch
 * tracking", with the two stretches centred so that a frame's time is the centre of all it looks
 * at). A candidate's cost is the logarithm of the power that its period leaves unexplained: that
 * tells a period from its half even where one harmonic carries nearly all the sound. The path pays
 * for leaps only up to a cap, so that a register flip of an octave in 20 ms is followed.
 *
 * Voice is judged along the path by what it leaves unexplained, by the power between the harmonics
 * and by how faint the frame is, in a chain over all frames. */

#include "base/message.h"
#include "sound/signal.h"

#include <math.h>
#include <stdbool.h>
#include <stddef.h>

/* Whether a pitch is that of the folds, within a semitone, or the octave above: where every second
 * period differs, both are right. */
static inline bool pitch_of_folds(double st, double folds_st)
{
    double above = st - folds_st;
    return fabs(above) < 1 || fabs(above - 12) < 1;
}

typedef struct pitch_settings {
    double lo_hz;       /* 55: below the lowest sung note of a map */
    double hi_hz;       /* 1500: above the highest */
    double window_lo_s; /* 0.010: shortest stretch compared; noise allows no less */
    double window_hi_s; /* 0.018: longest; a leap of 20 ms must not be averaged away */
    double voiced_at;   /* 0.25: correlation at which a path with pitch and one without cost the
                           same; low, since voice is judged afterwards */
    double floor;       /* 0.02: share of power that jitter and noise always leave unexplained */
    double octave_cost; /* cost of each octave down: a double period fits as well as the true one */
    double leap_cost;   /* per semitone and frame beyond leap_free_st */
    double leap_free_st; /* 0.3 semitone a frame: 60 semitones a second, faster than any slide */
    double leap_cap;     /* what a leap costs at most, */
    double far_st, far_cost; /* 13.5, 2: and how much more beyond an octave and what vibrato adds,
                                which no flip leaps: that is the ring of a formant */
    double onset_cost;       /* a path's pitch beginning or ending */
    double doubling_brief_s; /* 0.15, and 1.2: so long a doubled period drops no octave, whatever
                                it sounds like, and while it sounds of the octave above */
    double doubling_s;
    double gate_db;             /* frames this far under the loud parts (95 % point) are no voice */
    double loud_db;             /* level of the loud parts; NaN: of the frames given */
    const double *opt_folds_st; /* [frames] the pitch that an EGG tells of the folds: candidates
                                   beside it are none; NaN where it tells none */
    /* Log odds of voice in a frame by itself: at 0, for a dB of clarity (up to 25), for a unit of
     * the log of what is left unexplained, for a dB of faintness (under 20 over the gate), for a dB
     * that it has fallen (see pitch.c); without a pitch. By logistic regression on tuning voices,
     * but for the last three: those voices' pauses are purer than real ones. */
    double odds_at_0, odds_per_db, odds_per_unexplained, odds_per_faint_db, odds_per_fallen_db,
        odds_without_pitch;
    double odds_with_folds; /* 5, at least, where the folds have the same pitch by an EGG */
    double odds_weight;     /* 0.2 of that counts: neighbouring frames say the same */
    double change_per_s;    /* 2: how often voice begins or ends */
    double odds_of_all; /* 0.45: comes to the log odds given all frames; with it they are right on
                            tuning voices */
    double voiced_from; /* 0.22: to miss a sung frame costs 3.5 times as much as to hear one */
} pitch_settings;

pitch_settings pitch_defaults(void);
bool pitch_check(const pitch_settings *s, err *e);

/* Frames at i * hop_s; a frame's time is the centre of its window. Out: pitch_st[n], NaN when
 * unvoiced; voicing[n], the probability of voice; doubled[n], 1 where the period is doubled for a
 * while, so that the sound repeats an octave under the pitch given. */
void pitch_track(const signal *x, double hop_s, size_t n, const double *level_db,
                 const pitch_settings *s, double *pitch_st, double *voicing,
                 unsigned char *doubled);

#endif
