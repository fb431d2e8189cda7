/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE2_ELECTRODES_H
#define VOICE2_ELECTRODES_H

/* The second voice's electroglottograph (EGG): what two electrodes on the neck make of the folds'
 * contact, in step with the sound of the same take, which stays as it is.
 *
 * Difficulty was fixed before any tuning. Contact quotients are about 0.4-0.6 in M1 and 0.2-0.4 in
 * M2 (25-35 % criterion, from memory), tied to the open quotient of the voice's own source. From
 * experience, without a source: either polarity; noise 30-50 dB under the M1 signal, in four of ten
 * women 14-28 dB; the larynx's own movement, slow and larger than the signal; a high-pass of 2-20
 * Hz; and in a third of the singers now and then no contact with the skin. The sound needs 0.9-2.3
 * ms to the microphone (0.3-0.8 m) that the EGG does not. */

#include "voice2/folds.h"
#include "voice2/render.h"

typedef struct electrodes {
    bool turned;           /* contact counts downwards */
    bool first;            /* the EGG is channel 1, the microphone 2; else the other way round */
    folds held[2];         /* M1, M2 at the open quotients usual[] */
    double usual[2];       /* of the source, at the boundary and the middle level */
    double gain_db;        /* M2's signal beside that of the same contact in M1 */
    double level_db;       /* full contact re full scale */
    double noise_db;       /* RMS of the noise re full contact */
    double drift, drift_s; /* movement of the larynx re full contact, and its period */
    double highpass_hz;
    double lead_s;    /* before the sound */
    double losses_hz; /* losses of the skin's contact a second; 0: none */
} electrodes;

electrodes electrodes_draw(const vocalist *v);

typedef struct contacts {
    clip egg; /* full scale 1.0, at the singer's rate, as long as the take's sound */
    double *contact_share, *peaks_share; /* [a->n] contact quotients; NaN where not voiced */
    unsigned char *lost;                 /* [a->n] 1 where the skin's contact is lost */
} contacts;

contacts electrodes_render(const electrodes *g, const vocalist *v, const act *a, int take);
void contacts_clear(contacts *c);

#endif
