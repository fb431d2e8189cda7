/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef COMMAND_RECORDED_H
#define COMMAND_RECORDED_H

/* How a recording was made, as the options of every command that listens say it. */

#include "command/option_rows.h"
#include "voice/listen.h"

#include <stddef.h>

typedef struct recorded {
    double full_scale_db, distance_cm; /* NaN: not stated */
    int microphone, egg;               /* channels from 1; 0: not stated */
} recorded;

/* The option rows, for settings of that type which hold a `recorded` in that how. */
/* clang-format off */
#define RECORDED_OPTIONS(type) \
    {"full-scale", 0, OPTION_NUMBER, "DB", NULL, 60, 200, offsetof(type, how.full_scale_db), \
     "dB SPL at the microphone of a signal with RMS 1.0 of full scale"}, \
    {"distance", 0, OPTION_NUMBER, "CM", NULL, 1, 1000, offsetof(type, how.distance_cm), \
     "from the lips to the microphone (30); levels are given at 30 cm"}, \
    MICROPHONE_OPTION(type, how.microphone), \
    EGG_OPTION(type, how.egg)
/* clang-format on */

/* The settings of the voice stage by them; a distance that is not stated stays the default. */
voice_settings recorded_settings(const recorded *r);

#endif
