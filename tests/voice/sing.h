/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef VOICE_SING_H
#define VOICE_SING_H

/* From a performance to sound.
 *
 * Each LF pulse stands at its exact place in time: the box averages of its derivative (differences
 * of the closed-form flow) are taken at 160 kHz or more and decimated by a Kaiser low-pass, so that
 * harmonics have their closed-form levels within 0.2 dB up to 0.42 of the sampling rate or 12 kHz.
 */

#include "voice/perform.h"

#include <stddef.h>

typedef struct sound {
    size_t n;
    int rate_hz;
    double *samples; /* full scale 1.0 */
} sound;

/* The clean voice: pulses and breath through the tract, at the level of the performance. */
sound sing(const singer *s, const performance *p, int take);

typedef struct sing_pulse {
    double at_s, end_s;
    size_t step;    /* of the performance, at its middle */
    double more_db; /* shimmer, doubling */
} sing_pulse;

/* The pulses of a take in order of time; *out to be freed. */
size_t sing_pulses(const singer *s, const performance *p, int take, sing_pulse **out);
/* The times (s) at which the pulses of a take start, rising; *times to be freed. */
size_t sing_pulse_times(const singer *s, const performance *p, int take, double **times);

/* The same take in its place: the singer's room, microphone noise, a trace of mains hum. */
void sing_in_place(const singer *s, sound *clean, int take);

void sound_clear(sound *s);

/* RMS of what sounds: of the 20 ms blocks within 20 dB of the loudest; 0 for silence. */
double sound_rms(const sound *s);

/* RMS in dB re full scale over a Hann window of window_s around t_s; -INFINITY for silence. */
double sound_level_db(const sound *s, double t_s, double window_s);

#endif
