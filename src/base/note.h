/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_NOTE_H
#define BASE_NOTE_H

/* Pitch in semitones on the MIDI note scale (A4 = 69 = 440 Hz, ISO 16) and note names.
 * `a4_hz` moves the names alone, never the semitones. */

#include <stddef.h>

double note_from_hz(double hz); /* hz > 0; else NaN */
double note_to_hz(double st);   /* NaN gives NaN */

enum { NOTE_NAME_SIZE = 64 };
/* The nearest note with its deviation in cents when 1 cent or more: "F4", "F#4+23c"; "" for NaN. */
void note_name(double st, double a4_hz, char name[NOTE_NAME_SIZE]);
/* The nearest note alone: "F#4". */
void note_nearest(double st, double a4_hz, char name[NOTE_NAME_SIZE]);

#endif
