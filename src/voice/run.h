/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_RUN_H
#define VOICE_RUN_H

/* Voice without a gap of more than 150 ms, and whether it sings. */

#include "voice/split.h"
#include "voice/track.h"

#include <stdbool.h>

typedef struct run {
    size_t first, n; /* frames, the first and the last of them voiced */
    double voice_s;
} run;

typedef struct run_figures {
    double voice_s;
    double level_db; /* median over windows of 0.1 s of how far the level moves in them */
    double pitch_st; /* the same of the pitch */
    double still;    /* share of windows of 0.2 s in which the pitch strays by less than 3 cents */
    double fading;   /* share of windows of 0.1 s in which the level falls */
} run_figures;

/* The run after r; r all 0: the first. False at the end. */
bool run_next(const track *t, run *r);
run_figures run_measure(const track *t, const run *r);
/* It neither speaks nor rings, as far as can be told: see voice/split.h. */
bool run_may_sing(const track *t, const run *r);
/* Takes in what is about a run without a pitch and no more than 15 dB under it, as a voice in a
 * room may be; nothing before frame `before`. */
void run_widen(const track *t, run *r, size_t before);
/* Slide: the pitch, leaps of the register taken out, moves by 4 semitones or more. Else where it
 * moves by less than 1.5: swell, when the level rises by 5 dB or more and falls by as much again,
 * or hold, when it moves by less than 6 dB. Anything else is other. */
split_kind run_kind(const track *t, const run *r);

#endif
