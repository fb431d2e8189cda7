/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/render.h"

#include "base/array.h"
#include "base/note.h"
#include "voice2/chance.h"
#include "voice2/glottis.h"

#include <assert.h>
#include <math.h>
#include <soxr.h>
#include <stdlib.h>

enum { OVER = 4 };

static size_t step_at(const act *a, double t)
{
    size_t k = t > 0 ? (size_t)(t / CHART_STEP_S) : 0;
    return k < a->n ? k : a->n - 1;
}

static double f0_at(const act *a, double t)
{
    double at = fmin(t / CHART_STEP_S, (double)(a->n - 1));
    size_t k = step_at(a, t), next = k + 1 < a->n ? k + 1 : k;
    double share = at - (double)k;
    return note_to_hz((1 - share) * a->pitch_st[k] + share * a->pitch_st[next]);
}

static bool ragged_at(const act *a, double t, double period)
{
    for (size_t i = 0; i < a->n_turns; i++) {
        double half = (a->turns[i].ragged / 2.0) * period;
        if (t >= a->turns[i].time_s - half && t < a->turns[i].time_s + half)
            return true;
    }
    return false;
}

size_t render_cycles(const vocalist *v, const act *a, int take, cycle **out)
{
    gsl_rng *r = chance_new(cast_get(v->family, v->woman).name, v->seed, take, "cycles");
    size_t n = 0, room = 0;
    double t = 0, end = (double)a->n * CHART_STEP_S, long_short = 1;
    *out = NULL;
    while (t < end) {
        double period = 1 / f0_at(a, t + 0.5 / f0_at(a, t));
        size_t k = step_at(a, t + period / 2);
        double shake = chance_bell(r, v->jitter), more = chance_bell(r, v->shimmer_db);
        double wild = fmin(fmax(chance_bell(r, 0.1), -0.25), 0.25), loud = chance_bell(r, 3);
        if (ragged_at(a, t, period)) {
            shake += wild;
            more += loud;
        }
        if (a->line.fry[k] > 0) {
            shake += a->line.fry[k] * fmin(fmax(chance_bell(r, 0.1), -0.3), 0.3);
            more += a->line.fry[k] * chance_bell(r, 2);
        }
        double deep = a->line.doubled[k];
        more += long_short > 0 ? 0 : 20 * log10(1 - fmin(deep, 0.9));
        shake += 0.1 * deep * long_short;
        long_short = -long_short;
        array_reserve((void **)out, &room, n + 1, sizeof **out);
        (*out)[n++] = (cycle){t, period * (1 + shake), more, k};
        t += period * (1 + shake);
    }
    gsl_rng_free(r);
    return n;
}

static double loudness(const act *a, const cycle *c)
{
    double db = a->level_db[c->step] - a->predicted_db[c->step] + c->more_db;
    return pow(10, db / 20); /* 0 when not voiced */
}

/* One cycle's flow, and the pole of its tilt from its start to the next one's. */
static void lay(const act *a, const cycle *c, double rate, size_t n, double *flow, double *memory,
                double *opening)
{
    glottis g = {a->open[c->step], a->skew[c->step]};
    double loud = loudness(a, c), pole = exp(-2 * M_PI * a->tilt_hz[c->step] / rate);
    size_t i = (size_t)ceil(c->start_s * rate);
    size_t end = (size_t)ceil((c->start_s + c->length_s) * rate);
    for (; i < end && i < n; i++) {
        double now = glottis_flow(&g, ((double)i / rate - c->start_s) / c->length_s);
        if (opening && i % OVER == 0)
            opening[i / OVER] = now;
        *memory = pole * *memory + (1 - pole) * loud * now;
        flow[i] = *memory;
    }
}

clip render_source(const act *a, const cycle *cycles, size_t n_cycles, int rate_hz, double *opening)
{
    double rate = (double)OVER * rate_hz, memory = 0;
    clip out = {.n = (size_t)((double)a->n * CHART_STEP_S * rate_hz), .rate_hz = rate_hz};
    size_t n = out.n * OVER, done = 0;
    double *flow = xcalloc(n, sizeof *flow);
    for (size_t i = 0; i < n_cycles; i++)
        lay(a, &cycles[i], rate, n, flow, &memory, opening);
    out.samples = xcalloc(out.n, sizeof *out.samples);
    soxr_io_spec_t io = soxr_io_spec(SOXR_FLOAT64_I, SOXR_FLOAT64_I);
    soxr_quality_spec_t quality = soxr_quality_spec(SOXR_VHQ, 0);
    soxr_error_t failed =
        soxr_oneshot(OVER, 1, 1, flow, n, NULL, out.samples, out.n, &done, &io, &quality, NULL);
    assert(!failed);
    (void)failed;
    free(flow);
    return out;
}
