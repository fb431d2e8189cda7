/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_LISTEN_H
#define VOICE_LISTEN_H

/* From a recording to a track: level, pitch and harmonics of every frame. */

#include "base/message.h"
#include "sound/recording.h"
#include "voice/pitch.h"
#include "voice/track.h"

typedef struct voice_settings {
    double hop_s; /* 0.005 between frames */
    double
        full_scale_db;  /* dB SPL of RMS 1.0 at the microphone; NaN: levels stay dB re full scale */
    double distance_cm; /* 30: from the lips to the microphone; moves calibrated levels to 30 cm */
    pitch_settings pitch;
    recording_settings recording;
} voice_settings;

voice_settings voice_defaults(void);
bool voice_check(const voice_settings *s, err *e);

/* Reads `name` (see sound/recording.h) to its end. *opt_counts: what was seen of the samples.
 * Silence, noise and sound shorter than 60 ms are no errors: they give a track with no voiced
 * frame, or with no frame at all. */
bool voice_listen(const char *name, const voice_settings *s, track **out,
                  recording_counts *opt_counts, err *e);

/* Seconds of voice in a track. */
double voice_seconds(const track *t);

#endif
