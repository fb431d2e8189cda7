/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef REGISTER_DECODE_H
#define REGISTER_DECODE_H

/* The register of every voiced frame and the flips, from all of one singer's takes of a vowel.
 *
 * In: tracks[n] with pitch, level and harmonics. Out: their reg and p_m2, and found[n], the flips
 * of each take (doubtful ones too). What cannot be told stays 0 / NaN, and `summary` says why.
 * Method and sources: docs/method.md. */

#include "base/message.h"
#include "register/agree.h"
#include "register/effort.h"
#include "register/flip.h"
#include "voice/track.h"

typedef struct register_settings {
    double least_voice_s; /* 2: in less there may be a flip that is not told */
    double least_tried_s; /* 0.5: less is not looked at */
    double least_listed;  /* 0.05: changes of less confidence are not even listed as doubtful */
    struct explanation *opt_why; /* register/explain.h: filled with the evidence; NULL: not asked */
    const struct known *opt_known; /* register/known.h: of earlier takes of this singer's vowel, one
                                      more guess that the search starts from; NULL: nothing */
    struct known *opt_learnt;      /* another one: filled with what these takes tell; nothing known
                                      where not both registers are heard; NULL: not asked */
    effort *opt_effort;            /* told how far it is, and stops it; NULL: nobody asks */
} register_settings;
register_settings register_defaults(void);

typedef enum register_answer {
    REGISTER_BOTH,        /* both registers were heard */
    REGISTER_ONE,         /* one register in all takes, and which one is known (declared) */
    REGISTER_ONE_UNNAMED, /* one register in all takes; which one cannot be told */
    REGISTER_TOO_LITTLE   /* too little voice to tell */
} register_answer;

typedef struct register_summary {
    register_answer answer;
    double voiced_s;  /* seconds of voice in all takes */
    char text[256];   /* the same in one sentence for the singer */
    double gain_nats; /* log-likelihood that flips gain over none, by the microphone alone; NaN when
                         not looked at */
    agreement egg;    /* of the microphone alone with the EGG, where there is one */
} register_summary;

/* Where a track has contact that can be used (voice/egg.h) the EGG tells the register, and the
 * microphone's model is fitted to that.
 *
 * n = 0 or no voice: answers REGISTER_TOO_LITTLE, no flips. `found` must be n empty lists. */
void register_decode(track *const *tracks, size_t n, const register_settings *s, flips *found,
                     register_summary *summary);

#endif
