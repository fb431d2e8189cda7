/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef BASE_NOTE_H
#define BASE_NOTE_H

/* Pitch in semitones on the MIDI note scale (A4 = 69 = 440 Hz, ISO 16) and note names.
 * `a4_hz` moves the names alone, never the semitones. */

#include <stdbool.h>
#include <stddef.h>

double note_from_hz(double hz); /* hz > 0; else NaN */
double note_to_hz(double st);   /* NaN gives NaN */

enum { NOTE_NAME_SIZE = 64 };
/* The nearest note with its deviation in cents when 1 cent or more: "F4", "F#4+23c"; "" for NaN. */
void note_name(double st, double a4_hz, char name[NOTE_NAME_SIZE]);
/* The nearest note alone: "F#4". */
void note_nearest(double st, double a4_hz, char name[NOTE_NAME_SIZE]);

/* A pitch as it was typed. Of a note's name the semitones hang on the tuning. */
typedef struct note_typed {
    double st; /* on the scale of A4 = 440 Hz; NaN: not stated */
    bool named;
} note_typed;

/* "F#4", "Gb4", "f#4", with cents as "F#4+23c", octaves -1 to 9; "370Hz", "370 Hz"; "66.0" or
 * "66st", semitones. Also sharp and flat signs in UTF-8. False for anything else, such as H4, which
 * is B4 in one country and unknown in the next. */
bool note_read(const char *text, note_typed *out);
/* The semitones meant where A4 is tuned so. */
double note_meant(const note_typed *n, double a4_hz);

#endif
