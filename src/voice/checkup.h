/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_CHECKUP_H
#define VOICE_CHECKUP_H

/* Is a recording good enough? Named checks, each with a figure, a result and what to do.
 *
 * A check whose prerequisite fails, or for which the recording holds too little (no pause, say), is
 * not judged: its result is CHECK_NONE, its figure NaN, and the remedy says why. docs/check.md has
 * the thresholds with their sources. */

#include "base/message.h"
#include "sound/recording.h"
#include "voice/track_store.h"

typedef enum check_name {
    CHECK_VOICE,      /* seconds of voice */
    CHECK_LENGTH,     /* the same */
    CHECK_CLIPPING,   /* peaks cut off, count */
    CHECK_DC,         /* mean of all samples, % of full scale */
    CHECK_NOISE,      /* softest tone over the noise of the pauses, dB */
    CHECK_HUM,        /* softest tone over the hum, dB; INFINITY without hum */
    CHECK_DROPOUTS,   /* places where samples are missing, count */
    CHECK_BAND,       /* upper end of the band, kHz */
    CHECK_GAIN,       /* rise of the noise after the voice stops, dB */
    CHECK_ECHO,       /* time to fall by 60 dB after the voice stops, s */
    CHECK_TWO_VOICES, /* share of the voice with a second pitch, % */
    CHECKS
} check_name;

typedef enum check_result { CHECK_NONE, CHECK_PASS, CHECK_WARN, CHECK_FAIL } check_result;

typedef struct check_row {
    check_result result;
    double figure;
    const char *remedy; /* one sentence; NULL when passed */
} check_row;

typedef struct checkup {
    check_row of[CHECKS];
} checkup;

const char *check_name_of(check_name c);     /* "noise" */
const char *check_unit_of(check_name c);     /* "dB" */
int check_decimals_of(const char *name);     /* of its figure, as it is printed: counts have none */
const char *check_result_of(check_result r); /* "pass"; NULL for CHECK_NONE */

/* Reads `name` (see sound/recording.h) twice to its end, in bounded memory. Fails only where it
 * cannot be read. */
bool checkup_recording(const char *name, const recording_settings *s, checkup *out, err *e);

/* The same of a recording that was heard already, the first take of a store, with the same channels
 * and 5 ms between frames: reads it once. */
bool checkup_heard(const char *name, const recording_settings *s, const track_store *heard,
                   checkup *out, err *e);

#endif
