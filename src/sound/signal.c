/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/signal.h"

#include "base/array.h"

#include <math.h>
#include <soxr.h>
#include <stdlib.h>

enum { BLOCK = 16384 };
static const double cell_s = 0.001;
static const double highpass_hz = 10;

/* What is carried from block to block. */
typedef struct reader {
    signal *s;
    size_t room_x, room_cells;
    int rate_hz;
    soxr_t soxr;         /* NULL when the recording is at the working rate */
    double pole, x1, y1; /* the high-pass: y = x - x1 + pole * y1 */
    double sum;          /* of squares in the cell begun */
    size_t seen, in_cell;
} reader;

static void highpass(reader *r, float *block, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        double x = (double)block[i];
        r->y1 = x - r->x1 + r->pole * r->y1;
        r->x1 = x;
        block[i] = (float)(r->y1 * (1 + r->pole) / 2);
    }
}

static void end_cell(reader *r)
{
    signal *s = r->s;
    array_reserve((void **)&s->power, &r->room_cells, s->n_cells + 1, sizeof *s->power);
    s->power[s->n_cells++] = (float)(r->sum / (double)r->in_cell);
    r->sum = 0;
    r->in_cell = 0;
}

static void add_power(reader *r, const float *block, size_t n)
{
    for (size_t i = 0; i < n; i++) {
        r->sum += (double)block[i] * (double)block[i];
        r->in_cell++;
        r->seen++;
        if ((double)r->seen >= (double)(r->s->n_cells + 1) * cell_s * r->rate_hz)
            end_cell(r);
    }
}

/* block NULL flushes what the resampler still holds. */
static bool add_samples(reader *r, const float *block, size_t n, err *e)
{
    signal *s = r->s;
    size_t most = (size_t)((double)n * s->rate_hz / r->rate_hz) + BLOCK;
    array_reserve((void **)&s->x, &r->room_x, s->n + most, sizeof *s->x);
    if (!r->soxr) {
        for (size_t i = 0; i < n; i++)
            s->x[s->n++] = block[i];
        return true;
    }
    size_t got = 0;
    do {
        size_t used = 0;
        soxr_error_t bad = soxr_process(r->soxr, block, n, &used, s->x + s->n, most, &got);
        if (bad)
            return err_set(e, "The sample rate could not be converted: %s.", soxr_strerror(bad));
        s->n += got;
        n -= used;
        block = block ? block + used : NULL;
        array_reserve((void **)&s->x, &r->room_x, s->n + most, sizeof *s->x);
    } while (block ? n > 0 : got > 0);
    return true;
}

static bool read_all(reader *r, recording *from, err *e)
{
    float *block = xmalloc(BLOCK, sizeof *block);
    bool good = true;
    size_t got = 1;
    while (good && got) {
        good = recording_read(from, block, BLOCK, &got, e);
        if (!good || !got)
            break;
        highpass(r, block, got);
        add_power(r, block, got);
        good = add_samples(r, block, got, e);
    }
    free(block);
    if (good && r->soxr)
        good = add_samples(r, NULL, 0, e);
    if (r->in_cell)
        end_cell(r);
    return good;
}

bool signal_read(recording *from, signal *out, err *e)
{
    int rate = recording_rate_hz(from);
    *out = (signal){.rate_hz = rate < SIGNAL_RATE_HZ ? rate : SIGNAL_RATE_HZ, .cell_s = cell_s};
    reader r = {.s = out, .rate_hz = rate, .pole = exp(-2 * M_PI * highpass_hz / rate)};
    if (rate > SIGNAL_RATE_HZ) {
        soxr_error_t bad = NULL;
        soxr_quality_spec_t quality = soxr_quality_spec(SOXR_HQ, 0);
        r.soxr = soxr_create(rate, SIGNAL_RATE_HZ, 1, &bad, NULL, &quality, NULL);
        if (bad)
            return err_set(e, "The sample rate could not be converted: %s.", soxr_strerror(bad));
    }
    bool good = read_all(&r, from, e);
    soxr_delete(r.soxr);
    out->counts = recording_count(from);
    out->seconds = (double)out->counts.samples / rate;
    if (!good)
        signal_clear(out);
    return good;
}

void signal_clear(signal *s)
{
    free(s->x);
    free(s->power);
    *s = (signal){.rate_hz = 0};
}
