/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/signal.h"

#include "base/array.h"
#include "base/lanes.h"

#include <assert.h>
#include <math.h>
#include <soxr.h>
#include <stdlib.h>
#include <string.h>

enum { BLOCK = 16384 };
static const double cell_s = 0.001;
/* Harmonics are used up to 6 kHz, and what lies half a pitch beyond: what is above may be mirrored
 * into the band from here to half of the working rate, where nobody looks. */
static const double passband_hz = 6800;

struct signal_window {
    signal now; /* what the window holds */
    size_t room_x, room_cells;
    recording *from;
    meter *meter;      /* or NULL */
    companion *egg_to; /* or NULL */
    bool ended, powers_only;
    int rate_hz;
    soxr_t soxr;         /* NULL when the recording is at the working rate */
    double pole, x1, y1; /* the high-pass: y = x - x1 + pole * y1 */
    double sum;          /* of squares in the cell begun */
    size_t in_cell;
    size_t seen, cells; /* samples and whole cells since the beginning of the recording */
    float block[BLOCK], egg[BLOCK];
};

static void end_cell(signal_window *w)
{
    signal *s = &w->now;
    array_reserve((void **)&s->power, &w->room_cells, s->n_cells + 1, sizeof *s->power);
    s->power[s->n_cells++] = (float)(w->sum / (double)w->in_cell);
    w->cells++;
    w->sum = 0;
    w->in_cell = 0;
}

/* The first sample after the cell that is begun. */
static size_t end_of_cell(const signal_window *w)
{
    return (size_t)ceil((double)(w->cells + 1) * cell_s * w->rate_hz - 1e-6);
}

/* High-passes n samples, y = x - x1 + pole * y1, and adds their squares to the cell. Four samples
 * at a time, all from the output before them, so that only every fourth waits for it. */
EACH_PROCESSOR static void highpass(signal_window *w, float *x, size_t n)
{
    const double p = w->pole, gain = (1 + p) / 2, p2 = p * p;
    const fours after = {p, p2, p2 * p, p2 * p2}, nothing = {0};
    fours squares = {0};
    double x1 = w->x1, y = w->y1, sum = 0;
    size_t i = 0;
    for (; i + 4 <= n; i += 4) {
        four_floats block;
        memcpy(&block, x + i, sizeof block);
        fours now = __builtin_convertvector(block, fours);
        fours out = now - __builtin_shufflevector((fours){x1}, now, 0, 4, 5, 6);
        out += p * __builtin_shufflevector(nothing, out, 0, 4, 5, 6);
        out += p2 * __builtin_shufflevector(nothing, out, 0, 1, 4, 5);
        double next = out[3] + after[3] * y; /* sooner than through the vector */
        out += after * y;
        x1 = now[3];
        y = next;
        squares += out * out;
        block = __builtin_convertvector(gain * out, four_floats);
        memcpy(x + i, &block, sizeof block);
    }
    for (; i < n; i++) {
        y = p * y + ((double)x[i] - x1);
        x1 = (double)x[i];
        sum += y * y;
        x[i] = (float)(gain * y);
    }
    sum += (squares[0] + squares[2]) + (squares[1] + squares[3]);
    w->x1 = x1;
    w->y1 = y;
    w->sum += gain * gain * sum;
}

static void add_power(signal_window *w, size_t n)
{
    for (size_t i = 0, here; i < n; i += here) {
        size_t left = end_of_cell(w) - w->seen;
        here = n - i < left ? n - i : left;
        highpass(w, w->block + i, here);
        w->in_cell += here;
        w->seen += here;
        if (here == left)
            end_cell(w);
    }
}

/* block NULL flushes what the resampler still holds. */
static bool add_samples(signal_window *w, const float *block, size_t n, err *e)
{
    signal *s = &w->now;
    size_t most = (size_t)((double)n * s->rate_hz / w->rate_hz) + BLOCK;
    array_reserve((void **)&s->x, &w->room_x, s->n + most, sizeof *s->x);
    if (!w->soxr) {
        for (size_t i = 0; i < n; i++)
            s->x[s->n++] = block[i];
        return true;
    }
    size_t got = 0;
    do {
        size_t used = 0;
        soxr_error_t bad = soxr_process(w->soxr, block, n, &used, s->x + s->n, most, &got);
        if (bad)
            return err_set(e, "The sample rate could not be converted: %s.", soxr_strerror(bad));
        s->n += got;
        n -= used;
        block = block ? block + used : NULL;
        array_reserve((void **)&s->x, &w->room_x, s->n + most, sizeof *s->x);
    } while (block ? n > 0 : got > 0);
    return true;
}

static bool finish(signal_window *w, err *e)
{
    w->ended = true;
    if (w->in_cell)
        end_cell(w);
    if (w->egg_to && !companion_add(w->egg_to, NULL, 0, e))
        return false;
    return !w->soxr || add_samples(w, NULL, 0, e);
}

static bool read_block(signal_window *w, err *e)
{
    size_t got;
    if (!recording_read_both(w->from, w->block, w->egg_to ? w->egg : NULL, BLOCK, &got, e))
        return false;
    w->now.counts = recording_count(w->from);
    w->now.seconds = (double)w->now.counts.samples / w->rate_hz;
    if (!got)
        return finish(w, e);
    if (w->meter)
        meter_add(w->meter, w->block, got);
    if (w->egg_to && !companion_add(w->egg_to, w->egg, got, e))
        return false;
    add_power(w, got);
    return w->powers_only || add_samples(w, w->block, got, e);
}

bool signal_window_new(recording *r, bool powers_only, signal_window **out, err *e)
{
    int rate = recording_rate_hz(r);
    signal_window *w = xcalloc(1, sizeof *w);
    w->now = (signal){.rate_hz = rate < SIGNAL_RATE_HZ ? rate : SIGNAL_RATE_HZ,
                      .cell_s = cell_s,
                      .counts = recording_count(r)};
    w->from = r;
    w->rate_hz = rate;
    w->powers_only = powers_only;
    w->pole = exp(-2 * M_PI * WEIGHTING_Z_HZ / rate);
    if (rate > SIGNAL_RATE_HZ && !powers_only) {
        soxr_error_t bad = NULL;
        soxr_quality_spec_t quality = soxr_quality_spec(SOXR_HQ, 0);
        quality.passband_end = passband_hz / (SIGNAL_RATE_HZ / 2.0);
        quality.stopband_begin = 2 - quality.passband_end;
        w->soxr = soxr_create(rate, SIGNAL_RATE_HZ, 1, &bad, NULL, &quality, NULL);
        if (bad) {
            signal_window_free(w);
            return err_set(e, "The sample rate could not be converted: %s.", soxr_strerror(bad));
        }
    }
    *out = w;
    return true;
}

void signal_window_free(signal_window *w)
{
    if (!w)
        return;
    soxr_delete(w->soxr);
    signal_clear(&w->now);
    free(w);
}

void signal_window_meter(signal_window *w, meter *m)
{
    w->meter = m;
}

void signal_window_accompany(signal_window *w, companion *b)
{
    w->egg_to = b;
}

static bool holds(const signal_window *w, double seconds)
{
    return (!w->egg_to || companion_holds(w->egg_to, seconds)) &&
           (double)w->now.n_cells * cell_s >= seconds &&
           (w->powers_only || (double)w->now.n >= seconds * w->now.rate_hz);
}

bool signal_window_fill(signal_window *w, double seconds, err *e)
{
    while (!w->ended && !holds(w, seconds))
        if (!read_block(w, e))
            return false;
    return true;
}

void signal_window_drop(signal_window *w, size_t seconds)
{
    signal *s = &w->now;
    size_t samples = w->powers_only ? 0 : seconds * (size_t)s->rate_hz;
    size_t cells = (size_t)lround((double)seconds / cell_s);
    assert(samples <= s->n && cells <= s->n_cells);
    if (w->egg_to)
        companion_drop(w->egg_to, seconds);
    s->n -= samples;
    s->n_cells -= cells;
    if (s->n)
        memmove(s->x, s->x + samples, s->n * sizeof *s->x);
    if (s->n_cells)
        memmove(s->power, s->power + cells, s->n_cells * sizeof *s->power);
}

const signal *signal_window_sound(const signal_window *w)
{
    return &w->now;
}

bool signal_window_ended(const signal_window *w)
{
    return w->ended;
}

bool signal_read(recording *from, signal *out, err *e)
{
    signal_window *w;
    if (!signal_window_new(from, false, &w, e))
        return false;
    bool good = signal_window_fill(w, (double)INFINITY, e);
    if (good) {
        *out = w->now;
        w->now = (signal){.rate_hz = 0};
    }
    signal_window_free(w);
    return good;
}

void signal_clear(signal *s)
{
    free(s->x);
    free(s->power);
    *s = (signal){.rate_hz = 0};
}
