/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef SOUND_SIGNAL_H
#define SOUND_SIGNAL_H

/* Sound as the voice stage wants it: the microphone's channel at a working rate, and its power in
 * short cells at the rate of the recording, so that levels hold the whole band. A take is read
 * whole, or through a window that moves along it in bounded memory. */

#include "base/message.h"
#include "sound/companion.h"
#include "sound/meter.h"
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
    double seconds;          /* length of the recording */
    recording_counts counts; /* of all of it */
} signal;

/* Reads a recording to its end. Frequencies below 10 Hz (DC, rumble) are taken out by a
 * first-order high-pass, which is 3 dB down there and 0.04 dB at 100 Hz. n = 0 for an empty file.
 */
bool signal_read(recording *r, signal *out, err *e);
void signal_clear(signal *s);

/* The same sound, sample by sample, through a window. Times within the window count from its
 * beginning; `seconds` and `counts` are those of what was read up to now. */
typedef struct signal_window signal_window;

/* Begins with an empty window at the recording's next sample. powers_only leaves `x` empty, which
 * is several times faster. `r` is borrowed. */
bool signal_window_new(recording *r, bool powers_only, signal_window **out, err *e);
void signal_window_free(signal_window *w); /* NULL allowed */
/* From now on all samples go through this meter, too, as they were recorded. `m` is borrowed. */
void signal_window_meter(signal_window *w, meter *m);
/* From now on the EGG's samples go there; only for a recording that has one. What is dropped from
 * the window is dropped there. `b` is borrowed. */
void signal_window_accompany(signal_window *w, companion *b);

/* Reads on until the window holds at least `seconds`, or to the end. */
bool signal_window_fill(signal_window *w, double seconds, err *e);
/* Drops the first `seconds`, a whole number, so that a sample and a cell begin where they begin. No
 * more than the window holds. */
void signal_window_drop(signal_window *w, size_t seconds);

const signal *signal_window_sound(const signal_window *w); /* borrowed until the next call */
bool signal_window_ended(const signal_window *w);          /* it reaches the recording's end */

#endif
