/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/glide.h"

#include "base/array.h"

#include <math.h>
#include <stdlib.h>

enum { TAPS = 12 }; /* of the interpolation, on either side */

typedef struct turn { /* of the window, from tap to tap */
    double cosine[2 * TAPS], sine[2 * TAPS];
} turn;

static turn turn_new(void)
{
    turn t;
    for (int i = 0; i < 2 * TAPS; i++) {
        t.cosine[i] = cos(M_PI * (TAPS - 1 - i) / (TAPS + 1));
        t.sine[i] = sin(M_PI * (TAPS - 1 - i) / (TAPS + 1));
    }
    return t;
}

/* The sound between samples, by a Hann-windowed sinc; nought beyond its ends. */
static float sound_at(const signal *x, double at, const turn *t)
{
    long left = (long)floor(at), first = left - TAPS + 1;
    double off = at - (double)left, sum = 0;
    if (first < 0 || left + TAPS >= (long)x->n)
        return 0;
    if (off < 1e-6)
        return x->x[left];
    double c = cos(M_PI * off / (TAPS + 1)), s = sin(M_PI * off / (TAPS + 1)), sign = -1;
    for (int i = 0; i < 2 * TAPS; i++, sign = -sign) {
        double window = 0.5 + 0.5 * (c * t->cosine[i] - s * t->sine[i]);
        sum += sign * (double)x->x[first + i] * window / (off + TAPS - 1 - i);
    }
    return (float)(sum * sin(M_PI * off) / M_PI);
}

size_t glide_candidates(correlator *c, const signal *x, const pitch_settings *s, double time_s,
                        double st_per_s, candidate found[CANDIDATES_MOST])
{
    double k = st_per_s * log(2) / 12;
    size_t half = (size_t)ceil((s->window_hi_s + 1 / s->lo_hz) * x->rate_hz);
    signal still = {.n = 2 * half + 1, .rate_hz = x->rate_hz};
    turn taps = turn_new();
    still.x = xmalloc(still.n, sizeof *still.x);
    for (size_t i = 0; i < still.n; i++) {
        double u = ((double)i - (double)half) / x->rate_hz;
        double t = k == 0 ? u : log1p(k * u) / k;
        still.x[i] = sound_at(x, (time_s + t) * x->rate_hz, &taps);
    }
    correlator_take(c, &still);
    free(still.x);
    return correlator_candidates(c, (double)half / x->rate_hz, found);
}
