/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_SPLIT_H
#define VOICE_SPLIT_H

/* The takes in a recording of a whole lesson: stretches that are sung, among talk, a piano, breaths
 * and silence.
 *
 * Voice without a gap of more than 150 ms is a run. A run is sung when it lasts 0.7 s or more and
 * neither speaks nor rings:
 *
 * - speech: the level moves by 5 to 13 dB within 0.1 s, in the median, but by 0.5 to 2.6 dB in
 *   singing, trills, consonants and slides included. From 4 dB on it is speech.
 * - a struck string (and mains hum) stands still: in three quarters of all windows of 0.2 s its
 *   pitch strays by less than 3 cents from a straight line, a voice's in one of twenty. From half
 *   of them on it is no voice.
 *
 * Sung runs less than 0.7 s apart are one take. A take has 1 s of voice at least. A teacher's sung
 * example is a take: nothing tells it from the student's. The figures are of tuning voices. */

#include "base/message.h"
#include "sound/recording.h"

#include <stddef.h>

typedef enum split_kind { SPLIT_SLIDE, SPLIT_SWELL, SPLIT_HOLD, SPLIT_OTHER } split_kind;

typedef struct split_take {
    double start_s, end_s; /* 0.05 s before and after the voice, within the recording */
    split_kind kind;
} split_take;

const char *split_kind_name(split_kind k);

/* Reads `name` (see sound/recording.h) in bounded memory. *takes is the caller's to free; *n may be
 * 0. Times count from the beginning of what `name` names. */
bool split_recording(const char *name, const recording_settings *s, split_take **takes, size_t *n,
                     err *e);

#endif
