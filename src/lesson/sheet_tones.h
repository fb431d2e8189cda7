/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef LESSON_SHEET_TONES_H
#define LESSON_SHEET_TONES_H

/* Guide tones for a sheet: WAV, 48 kHz, mono, 16 bit.
 *
 * A file for each line that has notes, NN-EXERCISE.wav: its first note for reference, a pause, and
 * then its strokes as they are sung, glides as glides, with a pause for each breath. And a file for
 * each note that a stroke begins or ends on, note-F-sharp-4.wav, 2 s. Notes are those that the
 * sheet names, in the tuning a4_hz.
 *
 * The sound has eight harmonics falling by 9 dB an octave, so that a telephone's loudspeaker gives
 * low notes too. Its loudest is -20 dB re full scale (RMS), moderate on purpose; where the level of
 * an exercise changes, it follows, by 15 dB at the most. Fades of 30 ms at both ends. */

#include "lesson/sheet.h"

enum { TONES_RATE_HZ = 48000 };

/* Samples of one line; the caller frees. 0 and NULL for a line without strokes. */
size_t sheet_tone(const sheet_line *l, double a4_hz, float **samples);

/* Makes the folder unless it is there. Files of these names are written over, others stay. False,
 * with one sentence, when one could not be written; those before it stay. */
bool sheet_tones_write(const sheet *s, double a4_hz, const char *folder, err *e);

#endif
