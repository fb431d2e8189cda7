/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_LISTEN_H
#define VOICE_LISTEN_H

/* From a recording to a track: level, pitch and harmonics of every frame, and the folds' contact
 * where there is an EGG channel. */

#include "base/message.h"
#include "sound/meter.h"
#include "sound/recording.h"
#include "voice/egg.h"
#include "voice/pitch.h"
#include "voice/track.h"

typedef struct voice_settings {
    double hop_s;   /* 0.005 between frames; 0.001-0.02, a whole number of them to the second */
    double block_s; /* 60: a longer take is heard in blocks of this length; whole, at least 10 */
    double
        full_scale_db;  /* dB SPL of RMS 1.0 at the microphone; NaN: levels stay dB re full scale */
    double distance_cm; /* 30: from the lips to the microphone; moves calibrated levels to 30 cm */
    unsigned curves;    /* METER_NONE: weighted levels of the take, as bits of sound/meter.h */
    bool measures;      /* false: fills in track.measures, and meters all curves */
    egg_way contact;    /* EGG_UNKNOWN: which way contact counts is found from each take */
    pitch_settings pitch;
    recording_settings recording;
} voice_settings;

/* What is known of a take as a whole. */
typedef struct voice_whole {
    recording_counts counts;
    meter_levels levels; /* on the track's level scale; NaN for curves that were not asked for */
    int channels, egg;   /* how many, and the EGG's, from 1; 0: none */
    egg_way contact; /* as stated or found; EGG_UNKNOWN: neither, and track.egg has clarity alone */
} voice_whole;

voice_settings voice_defaults(void);
bool voice_check(const voice_settings *s, err *e);

/* Reads `name` (see sound/recording.h) to its end. Silence, noise and sound shorter than 60 ms
 * are no errors: they give a track with no voiced frame, or with no frame at all. */
bool voice_listen(const char *name, const voice_settings *s, track **out, voice_whole *opt_whole,
                  err *e);

/* Takes the next frames of a take, in order, none left out; false ends the listening. */
typedef bool voice_sink(void *context, const track *piece, err *e);

/* The same in bounded memory, whatever the length: the frames come in pieces of about block_s, each
 * as soon as it is final. Without frames there is no piece.
 *
 * A take longer than a block is read twice, first for the level of its loud parts alone. Blocks
 * overlap by 4 s; where two meet, the cut lies where both hear the same for 300 ms on either side,
 * as near as can be to the middle of the overlap. So every frame has all the sound about it that it
 * has when the take is heard as one block, and is as it would be there: level the same, pitch
 * within 0.1 cent, harmonics within 0.02 dB. But for the first 60 ms of voice after 4 s without
 * one, whose harmonics are brought to rest along a pitch held from before. */
bool voice_listen_pieces(const char *name, const voice_settings *s, voice_sink *sink, void *context,
                         voice_whole *opt_whole, err *e);

/* Seconds of voice in a track. */
double voice_seconds(const track *t);

#endif
