/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_SIGNAL_H
#define SOUND_SIGNAL_H

/* One take as the voice stage wants it: the microphone's sound at a working rate, and its power
 * in short cells at the rate of the recording, so that levels hold the whole band. */

#include "base/message.h"
#include "sound/recording.h"

#include <stddef.h>

enum { SIGNAL_RATE_HZ = 16000 }; /* highest working rate: harmonics are used up to 6 kHz */

typedef struct signal {
    double rate_hz; /* SIGNAL_RATE_HZ, or the recording's rate where that is lower */
    size_t n;
    float *x;      /* [n] full scale = 1, DC removed; sample i is at i / rate_hz seconds */
    double cell_s; /* 0.001 */
    size_t n_cells;
    float *power; /* [n_cells] mean square of each cell, DC removed; cell i starts at i * cell_s */
    double seconds; /* length of the recording */
    recording_counts counts;
} signal;

/* Reads a recording to its end. Frequencies below 10 Hz (DC, rumble) are taken out by a
 * first-order high-pass, which is 3 dB down there and 0.04 dB at 100 Hz. n = 0 for an empty file.
 */
bool signal_read(recording *r, signal *out, err *e);
void signal_clear(signal *s);

#endif
