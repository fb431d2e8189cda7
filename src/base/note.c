/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "base/note.h"

#include <math.h>
#include <stdio.h>

double note_from_hz(double hz)
{
    return hz > 0 ? 69 + 12 * log2(hz / 440) : (double)NAN;
}

double note_to_hz(double st)
{
    return 440 * exp2((st - 69) / 12);
}

static double on_scale(double st, double a4_hz)
{
    return st - 12 * log2(a4_hz / 440);
}

static void print(double scale_st, long nearest, char name[NOTE_NAME_SIZE])
{
    static const char *const names[12] = {"C",  "C#", "D",  "D#", "E",  "F",
                                          "F#", "G",  "G#", "A",  "A#", "B"};
    long octave = (nearest >= 0 ? nearest / 12 : -((11 - nearest) / 12)) - 1;
    const char *letter = names[((nearest % 12) + 12) % 12];
    long cents = lround(100 * (scale_st - (double)nearest));
    if (cents == 0)
        snprintf(name, NOTE_NAME_SIZE, "%s%ld", letter, octave);
    else
        snprintf(name, NOTE_NAME_SIZE, "%s%ld%+ldc", letter, octave, cents);
}

void note_name(double st, double a4_hz, char name[NOTE_NAME_SIZE])
{
    name[0] = '\0';
    if (isfinite(st) && fabs(st) < 1000)
        print(on_scale(st, a4_hz), lround(on_scale(st, a4_hz)), name);
}

void note_nearest(double st, double a4_hz, char name[NOTE_NAME_SIZE])
{
    name[0] = '\0';
    if (isfinite(st) && fabs(st) < 1000) {
        long nearest = lround(on_scale(st, a4_hz));
        print((double)nearest, nearest, name);
    }
}
