/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "sound/meter.h"

#include "base/array.h"

#include <assert.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double tau_s[METER_SPEEDS] = {0.125, 1};
static const double longest_step_s = 0.001;

enum { CHUNK = 512 };

typedef struct channel { /* one curve */
    weighting *filter;   /* NULL when not metered */
    double energy;       /* sum of squares of all samples before this step */
    double step;         /* and of this step */
    double power[METER_SPEEDS], most[METER_SPEEDS];
    float *frames[METER_SPEEDS]; /* power at the frames from first_frame on */
} channel;

struct meter {
    double rate_hz, step_s;
    size_t steps_a_frame;
    channel of[WEIGHTING_CURVES];
    size_t samples, steps; /* seen, and whole ones */
    size_t in_step, step_end;
    bool keeps_frames;
    size_t n_frames, first_frame, room[METER_SPEEDS * WEIGHTING_CURVES];
};

static void keep_frame(meter *m)
{
    size_t at = m->n_frames - m->first_frame;
    for (int c = 0; m->keeps_frames && c < WEIGHTING_CURVES; c++)
        for (int s = 0; m->of[c].filter && s < METER_SPEEDS; s++) {
            array_reserve((void **)&m->of[c].frames[s], &m->room[c * METER_SPEEDS + s], at + 1,
                          sizeof(float));
            m->of[c].frames[s][at] = (float)m->of[c].power[s];
        }
    m->n_frames++;
}

/* The first sample after step number `steps`, counted from 0. */
static size_t end_of_step(const meter *m)
{
    return (size_t)ceil((double)(m->steps + 1) * m->step_s * m->rate_hz - 1e-6);
}

meter *meter_new(int rate_hz, unsigned curves, double hop_s, bool keeps_frames)
{
    assert(hop_s > 0);
    meter *m = xcalloc(1, sizeof *m);
    double steps = ceil(hop_s / longest_step_s - 1e-9);
    *m = (meter){.rate_hz = rate_hz,
                 .step_s = hop_s / steps,
                 .steps_a_frame = (size_t)steps,
                 .keeps_frames = keeps_frames};
    for (int c = 0; c < WEIGHTING_CURVES; c++)
        if (curves >> c & 1)
            m->of[c].filter = weighting_new((weighting_curve)c, rate_hz);
    m->step_end = end_of_step(m);
    keep_frame(m);
    return m;
}

void meter_free(meter *m)
{
    if (!m)
        return;
    for (int c = 0; c < WEIGHTING_CURVES; c++) {
        weighting_free(m->of[c].filter);
        for (int s = 0; s < METER_SPEEDS; s++)
            free(m->of[c].frames[s]);
    }
    free(m);
}

static void end_step(meter *m)
{
    double share[METER_SPEEDS];
    for (int s = 0; s < METER_SPEEDS; s++)
        share[s] = -expm1(-(double)m->in_step / (m->rate_hz * tau_s[s]));
    for (int c = 0; c < WEIGHTING_CURVES; c++) {
        channel *of = &m->of[c];
        for (int s = 0; of->filter && s < METER_SPEEDS; s++) {
            of->power[s] += share[s] * (of->step / (double)m->in_step - of->power[s]);
            of->most[s] = fmax(of->most[s], of->power[s]);
        }
        of->energy += of->step;
        of->step = 0;
    }
    m->in_step = 0;
    m->steps++;
    m->step_end = end_of_step(m);
    if (m->steps % m->steps_a_frame == 0)
        keep_frame(m);
}

/* In four sums, so that an addition need not wait for the one before. */
static double sum_of_squares(const double *x, size_t n)
{
    double s0 = 0, s1 = 0, s2 = 0, s3 = 0;
    size_t i = 0;
    for (; i + 4 <= n; i += 4) {
        s0 += x[i] * x[i];
        s1 += x[i + 1] * x[i + 1];
        s2 += x[i + 2] * x[i + 2];
        s3 += x[i + 3] * x[i + 3];
    }
    for (; i < n; i++)
        s0 += x[i] * x[i];
    return (s0 + s1) + (s2 + s3);
}

/* n samples that lie within one step. */
static void add_within_step(meter *m, const float *x, size_t n)
{
    double weighted[CHUNK];
    for (int c = 0; c < WEIGHTING_CURVES; c++) {
        if (!m->of[c].filter)
            continue;
        for (size_t i = 0; i < n; i++)
            weighted[i] = (double)x[i];
        weighting_process(m->of[c].filter, weighted, n);
        m->of[c].step += sum_of_squares(weighted, n);
    }
    m->in_step += n;
    m->samples += n;
    if (m->samples == m->step_end)
        end_step(m);
}

void meter_add(meter *m, const float *x, size_t n)
{
    while (n > 0) {
        size_t now = m->step_end - m->samples;
        now = now < n ? now : n;
        now = now < CHUNK ? now : CHUNK;
        add_within_step(m, x, now);
        x += now;
        n -= now;
    }
}

static double db(double power)
{
    return power > 0 ? 10 * log10(power) : -(double)INFINITY;
}

meter_levels meter_read(const meter *m)
{
    meter_levels l;
    for (int c = 0; c < WEIGHTING_CURVES; c++) {
        const channel *of = m ? &m->of[c] : NULL;
        bool known = of && of->filter && m->samples;
        l.leq_db[c] = known ? db((of->energy + of->step) / (double)m->samples) : (double)NAN;
        for (int s = 0; s < METER_SPEEDS; s++)
            l.max_db[s][c] = known ? db(of->most[s]) : (double)NAN;
    }
    return l;
}

meter_levels meter_shift(meter_levels l, double by_db)
{
    for (int c = 0; c < WEIGHTING_CURVES; c++) {
        l.leq_db[c] += by_db;
        for (int s = 0; s < METER_SPEEDS; s++)
            l.max_db[s][c] += by_db;
    }
    return l;
}

void meter_frames(const meter *m, weighting_curve curve, meter_speed speed, size_t first, size_t n,
                  float *out)
{
    assert(m->keeps_frames && m->of[curve].filter && first >= m->first_frame);
    const float *power = m->of[curve].frames[speed];
    for (size_t i = first; i < first + n; i++)
        *out++ = i < m->n_frames ? (float)db((double)power[i - m->first_frame]) : NAN;
}

void meter_drop(meter *m, size_t before)
{
    if (!m || before <= m->first_frame)
        return;
    assert(before <= m->n_frames);
    size_t gone = before - m->first_frame, left = m->n_frames - before;
    for (int c = 0; c < WEIGHTING_CURVES; c++)
        for (int s = 0; s < METER_SPEEDS && m->of[c].frames[s]; s++)
            memmove(m->of[c].frames[s], m->of[c].frames[s] + gone, left * sizeof(float));
    m->first_frame = before;
}
