/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_CONTACT_H
#define VOICE_CONTACT_H

/* The test voice's electroglottograph (EGG), in step with the sound, which stays as it is.
 *
 * Each LF pulse has a contact pulse of closed form: a raised cosine up whose middle is the pulse's
 * negative peak (closure), a flat top, and a raised cosine down. M1 closes within a tenth of the
 * period and parts slowly, M2 closes nearly as slowly as it parts. Contact quotients (to 3/7 of the
 * amplitude) are 0.42-0.6 in M1 and 0.2-0.38 in M2 about the singer's boundary (25-35 % criterion,
 * from memory), and fall with rising Rd. Fixed before any tuning, from experience: either polarity,
 * baseline that follows the larynx (pitch) and wanders, hum, noise 28-50 dB under the signal, 14-26
 * dB in a third of the women, and in some singers stretches without the skin's contact. */

#include "voice/sing.h"

typedef struct contact_pulse {
    double rise, top, fall; /* in periods */
} contact_pulse;

double contact_at(const contact_pulse *p, double t); /* 0..1; t in periods from the rise's start */
double contact_quotient(const contact_pulse *p);     /* to 3/7 of the amplitude */
double contact_peaks(const contact_pulse *p);        /* between the peaks of the slope */

typedef struct contact_channel {
    sound egg;                           /* as long as the take's sound */
    double *contact_share, *peaks_share; /* [p->n] contact quotients; NaN where not voiced */
    unsigned char *lost;                 /* [p->n] 1 where the skin's contact is lost */
} contact_channel;

typedef struct contact_wiring {
    bool turned;                          /* contact counts downwards */
    int channel;                          /* of the EGG, 1 or 2 */
    double quotient[2], rise[2], fall[2]; /* M1, M2 */
    double gain_db, noise_db;             /* M2 re M1; RMS re full contact in M1 */
    double level_db;                      /* full contact re full scale */
    double larynx, wander, hum;           /* a semitone's shift; slow movement; re full contact */
    double lost_share;                    /* of the time */
    double lead_s;                        /* before the sound */
} contact_wiring;

contact_wiring contact_wire(const singer *s);
contact_channel contact_sing(const contact_wiring *w, const singer *s, const performance *p,
                             int take);
void contact_clear(contact_channel *c);

#endif
