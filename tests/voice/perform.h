/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_PERFORM_H
#define VOICE_PERFORM_H

/* How a singer carries out a score: where the voice flips, and what the source then does.
 *
 * Level. The boundary is a rule on the level of the sound that comes out, so that is what the rule
 * is given: what is meant, plus the register's gain, plus the share of the resonances' effect that
 * is not sung away. That effect is known beforehand, from the closed-form spectrum of the LF pulse
 * times the response of the tract (`predicted_db`), and sing.h drives each pulse so that the clean
 * sound has level_db: the rule's level and the RMS of the sound agree to 0.5 dB (test_voice checks
 * it). The dip of level within a flip comes on top and lies inside the flip.
 *
 * A flip is at the crossing; the change is a raised cosine around it in register, pitch, gain and
 * breath at once. After a flip the voice may come back to the pitch that was meant, or not. */

#include "voice/course.h"
#include "voice/score.h"

typedef struct performance {
    size_t n;         /* steps of SCORE_STEP_S */
    double *pitch_st; /* with vibrato, without jitter */
    double *level_db; /* of the clean sound; -INFINITY when not voiced */
    double *gate, *breath;
    double *doubled, *hiss; /* see score.h */
    double *weight;         /* of M2: 0..1 */
    double *rd, *ra_factor;
    double *noise_db;                  /* breath re voice */
    double *jitter;                    /* sd, share of a period */
    double *formant_hz, *bandwidth_hz; /* [n][TRACT_VOWEL] */
    double *predicted_db;              /* level of LF pulses of Ee = 1 through the tract */
    unsigned char *reg;                /* truth: 1, 2; 0 not voiced (gate below -20 dB) */
    size_t n_flips;
    sung_flip *flips;
} performance;

performance perform(const singer *s, const score *sc, int take);
void performance_clear(performance *p);

#endif
