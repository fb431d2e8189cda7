/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/lowband.h"

#include "base/array.h"

#include <soxr.h>
#include <string.h>

signal lowband_of(const signal *x)
{
    double ratio = LOWBAND_RATE_HZ / x->rate_hz;
    size_t room = (size_t)((double)x->n * ratio) + 64, used;
    signal low = {.rate_hz = LOWBAND_RATE_HZ, .x = xcalloc(room, sizeof *low.x)};
    soxr_quality_spec_t quality = soxr_quality_spec(SOXR_HQ, 0);
    quality.passband_end = 0.75;
    if (soxr_oneshot(x->rate_hz, LOWBAND_RATE_HZ, 1, x->x, x->n, &used, low.x, room, &low.n, NULL,
                     &quality, NULL)) {
        low.rate_hz = x->rate_hz;
        low.n = x->n;
        low.x = xrealloc(low.x, x->n, sizeof *low.x);
        memcpy(low.x, x->x, x->n * sizeof *low.x);
    }
    return low;
}
