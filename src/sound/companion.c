/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/companion.h"

#include "base/array.h"
#include "sound/signal.h"

#include <soxr.h>
#include <stdlib.h>
#include <string.h>

struct companion {
    double rate_hz, from_hz;
    soxr_t soxr; /* NULL when the recording is at the working rate */
    float *x;
    size_t n, room;
};

bool companion_new(int rate_hz, companion **out, err *e)
{
    companion *b = xcalloc(1, sizeof *b);
    b->from_hz = rate_hz;
    b->rate_hz = rate_hz < SIGNAL_RATE_HZ ? rate_hz : SIGNAL_RATE_HZ;
    if (rate_hz > SIGNAL_RATE_HZ) {
        soxr_error_t bad = NULL;
        soxr_quality_spec_t quality = soxr_quality_spec(SOXR_HQ, 0);
        b->soxr = soxr_create(rate_hz, SIGNAL_RATE_HZ, 1, &bad, NULL, &quality, NULL);
        if (bad) {
            companion_free(b);
            return err_set(e, "The sample rate could not be converted: %s.", soxr_strerror(bad));
        }
    }
    *out = b;
    return true;
}

void companion_free(companion *b)
{
    if (!b)
        return;
    soxr_delete(b->soxr);
    free(b->x);
    free(b);
}

bool companion_add(companion *b, const float *x, size_t n, err *e)
{
    enum { MARGIN = 4096 };
    size_t most = (size_t)((double)n * b->rate_hz / b->from_hz) + MARGIN, used = 0, got = 0;
    array_reserve((void **)&b->x, &b->room, b->n + most, sizeof *b->x);
    if (!b->soxr) {
        if (n)
            memcpy(b->x + b->n, x, n * sizeof *x);
        b->n += n;
        return true;
    }
    do {
        soxr_error_t bad = soxr_process(b->soxr, x, n, &used, b->x + b->n, most, &got);
        if (bad)
            return err_set(e, "The sample rate could not be converted: %s.", soxr_strerror(bad));
        b->n += got;
        n -= x ? used : 0;
        x = x ? x + used : NULL;
        array_reserve((void **)&b->x, &b->room, b->n + most, sizeof *b->x);
    } while (x ? n > 0 : got > 0);
    return true;
}

bool companion_holds(const companion *b, double seconds)
{
    return (double)b->n >= seconds * b->rate_hz;
}

void companion_drop(companion *b, size_t seconds)
{
    size_t gone = seconds * (size_t)b->rate_hz;
    gone = gone < b->n ? gone : b->n;
    b->n -= gone;
    if (b->n)
        memmove(b->x, b->x + gone, b->n * sizeof *b->x);
}

double companion_rate_hz(const companion *b)
{
    return b->rate_hz;
}

const float *companion_samples(const companion *b, size_t *n)
{
    *n = b->n;
    return b->x;
}
