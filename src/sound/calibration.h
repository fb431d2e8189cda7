/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_CALIBRATION_H
#define SOUND_CALIBRATION_H

/* What full scale is in dB SPL, from a recorded tone whose level is known: of a calibrator (IEC
 * 60942: 94 or 114 dB at 1 kHz), or of any steady sound beside which a meter was read.
 *
 * The tone is the longest stretch whose level (F, with the meter's frequency weighting) stays
 * within 3 dB of the highest. Its first 0.5 s (F) or 4 s (S) are left out, until the meter has
 * settled to 0.1 dB, and 0.1 s at its end. The level of what is left is its mean power; how steady
 * it was, half the distance from the lowest to the highest level that such a meter showed. */

#include "base/message.h"
#include "sound/meter.h"
#include "sound/recording.h"

typedef struct calibration_settings {
    double reads_db;    /* what the meter showed, 0..180 */
    double meter_cm;    /* where it was: from the source, 1..1000; NaN: where the microphone was */
    double distance_cm; /* where the microphone was */
    weighting_curve curve; /* of the meter: at 1 kHz all are alike */
    meter_speed speed;
    double steady_db; /* 1: what is less steady is refused. Common practice, no source */
} calibration_settings;

calibration_settings calibration_defaults(void); /* reads_db NaN, C, F */

typedef struct calibration {
    double full_scale_db;                  /* dB SPL at the microphone of RMS 1.0, unweighted */
    double level_db;                       /* of the tone, weighted, dB re full scale */
    double steady_db;                      /* it stayed within plus or minus this */
    double from_s, to_s;                   /* what was used */
    unsigned char sound[RECORDING_DIGEST]; /* as in recording_counts */
} calibration;

/* False with a sentence, and *answer false, where the recording gives none: no tone, too short, not
 * steady, clipped; *answer true where it cannot be read. */
bool calibrate_recording(const char *name, const recording_settings *r,
                         const calibration_settings *s, calibration *out, bool *answer, err *e);

#endif
