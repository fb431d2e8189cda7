/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_TEMPT_H
#define VOICE_TEMPT_H

/* Takes that tempt a listener to hear a flip where there is none. */

#include "voice/score.h"

/* A take of the singer's family, which is one from FAMILY_STILL on. */
score tempt_plan(gsl_rng *r, const singer *s);

/* A vowel other than this one. */
char tempt_vowel(gsl_rng *r, char than);

/* Puts what tempts into contours that hold the plain slide or melody; leaves other kinds of scores
 * alone. */
void tempt_contours(score_line *l, const score *sc, const singer *s, int take, double on_s,
                    double off_s);

#endif
