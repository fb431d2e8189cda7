/* SPDX-License-Identifier: GPL-3.0-or-later */
#ifndef EGG_TAKE_H
#define EGG_TAKE_H

/* A made take of two channels. Include after cmocka.h. */

#include "base/array.h"
#include "voice/contact.h"
#include "voice/files.h"

#include <math.h>

/* A file with a tone of falling harmonics in channel 1, which may stray from their fall as those of
 * a voice do, and contact in channel 2. */
static inline void write_voice(const char *name, int rate, double hz, const contact_pulse *p,
                               double stray_db)
{
    enum { OVER = 8 };
    size_t n = (size_t)rate;
    sound mic = {n, rate, xcalloc(n, sizeof(double))}, egg = {n, rate, xcalloc(n, sizeof(double))};
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / rate * hz;
        for (int h = 1; h * hz < 0.45 * rate && h < 30; h++)
            mic.samples[i] +=
                0.1 / h * pow(10, stray_db * cos(2.0 * h) / 20) * sin(2 * M_PI * h * t);
        for (int k = 0; k < OVER; k++) { /* box averages, as a converter's filter would have it */
            double at = t + (k + 0.5 - OVER / 2.0) / OVER / rate * hz;
            egg.samples[i] += 0.2 * contact_at(p, at - floor(at)) / OVER;
        }
    }
    const sound *both[2] = {&mic, &egg};
    err e;
    if (!files_write_channels(name, both, 2, 24, &e))
        fail_msg("%s", e.text);
    sound_clear(&mic);
    sound_clear(&egg);
}

#endif
