/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/electrodes.h"

#include "base/array.h"
#include "voice2/chance.h"

#include <assert.h>
#include <math.h>
#include <soxr.h>
#include <stdlib.h>

#define LEAST_RATE_HZ 88200
#define NOISE_HZ 5000.0 /* the device's own upper limit */

electrodes electrodes_draw(const vocalist *v)
{
    gsl_rng *r = chance_new(cast_get(v->family, v->woman).name, v->seed, 0, "electrodes");
    electrodes g = {.turned = chance_of(r, 0.5), .first = chance_of(r, 0.3)};
    folds *m1 = &g.held[0], *m2 = &g.held[1];
    m1->delay = chance_in(r, 0.7, 1.2);
    m1->converge = m1->delay * chance_in(r, 0.35, 0.8);
    m1->soft = chance_in(r, 0.06, 0.12);
    m1->gap = chance_in(r, -0.2, 0.1);
    m2->delay = chance_in(r, 0.05, 0.35);
    m2->converge = chance_in(r, 0, 0.15);
    m2->soft = chance_in(r, 0.15, 0.3);
    m2->gap = chance_in(r, 0.3, 0.7);
    for (int i = 0; i < 2; i++)
        g.usual[i] = vocalist_open(v, i, v->edge_st, v->middle_db, 0);
    g.gain_db = chance_in(r, -8, -1);
    bool weak = chance_of(r, 0.4);
    double strong_db = chance_in(r, 30, 50), weak_db = chance_in(r, 14, 28);
    g.noise_db = -9 - (v->woman && weak ? weak_db : strong_db); /* -9: RMS of a usual contact */
    g.level_db = chance_in(r, v->woman && weak ? -34 : -22, -10);
    g.drift = chance_in(r, 0.3, 2);
    g.drift_s = chance_in(r, 0.5, 2);
    g.highpass_hz = chance_in(r, 2, 20);
    g.lead_s = chance_in(r, 0.3, 0.8) / 343;
    double losses = chance_in(r, 0.05, 0.25);
    g.losses_hz = chance_of(r, 0.33) ? losses : 0;
    gsl_rng_free(r);
    return g;
}

/* The folds at a step of the act: a wider open quotient holds them further apart. Contact lasts
 * from where the sine falls below -gap, so a gap wider by pi opens a whole period longer. */
static folds folds_at(const electrodes *g, const act *a, size_t k, double more)
{
    double w = a->weight[k], usual = (1 - w) * g->usual[0] + w * g->usual[1];
    const folds *m1 = &g->held[0], *m2 = &g->held[1];
    folds f = {.converge = (1 - w) * m1->converge + w * m2->converge,
               .delay = (1 - w) * m1->delay + w * m2->delay,
               .soft = (1 - w) * m1->soft + w * m2->soft,
               .gap = (1 - w) * m1->gap + w * m2->gap};
    double slack = 0.5 * (1 - a->line.gate[k]); /* parting where the voice sets in and ends */
    f.gap += M_PI * (a->open[k] - usual) + more + slack;
    f.gap = fmin(fmax(f.gap, -0.4), 0.85);
    return f;
}

typedef struct laying { /* what contacts are laid with */
    const electrodes *g;
    const act *a;
    const double *more; /* [a->n] slow change of the gap */
    double rate, lead_s;
    double *x;
    size_t n;
} laying;

/* Contact of one cycle, from where it is least to the same place in the next. */
static void lay(const laying *l, const cycle *c, contacts *out, double *from_s)
{
    const act *a = l->a;
    size_t k = c->step;
    folds f = folds_at(l->g, a, k, l->more[k]);
    folds_cycle m;
    folds_move(&f, &m);
    double next_s = c->start_s + c->length_s * (1 + a->open[k] - m.closing);
    double start_s = *from_s > 0 ? *from_s : next_s - c->length_s, lead_s = l->lead_s;
    double gain =
        pow(10, (a->weight[k] * l->g->gain_db + 0.5 * c->more_db) / 20) * sqrt(a->line.gate[k]);
    *from_s = next_s;
    for (size_t i = (size_t)ceil(fmax(0, start_s - lead_s) * l->rate);
         (double)i / l->rate < next_s - lead_s && i < l->n; i++) {
        double phase = ((double)i / l->rate + lead_s - start_s) / (next_s - start_s);
        l->x[i] = gain * (folds_contact(&m, phase) - m.least);
    }
    for (size_t j = (size_t)fmax(0, start_s / CHART_STEP_S);
         j < a->n && (double)j * CHART_STEP_S < next_s; j++)
        if (a->line.gate[j] >= 0.1) {
            out->contact_share[j] = m.contact_share;
            out->peaks_share[j] = m.peaks_share;
        }
}

static void through_device(const electrodes *g, clip *c)
{
    double pole = exp(-2 * M_PI * g->highpass_hz / c->rate_hz), before = 0, y = 0;
    double level = pow(10, g->level_db / 20) * (g->turned ? -1 : 1);
    for (size_t j = 0; j < c->n; j++) {
        y = pole * (y + c->samples[j] - before);
        before = c->samples[j];
        c->samples[j] = fmin(fmax(level * y, -0.98), 0.98);
    }
}

static void lose(const electrodes *g, gsl_rng *r, const act *a, unsigned char *lost)
{
    if (g->losses_hz <= 0)
        return;
    double seconds = (double)a->n * CHART_STEP_S;
    for (double t = chance_in(r, 0, 1) / g->losses_hz; t < seconds;
         t += chance_in(r, 0.5, 1.5) / g->losses_hz) {
        double end = t + chance_in(r, 0.1, 0.8);
        for (size_t k = (size_t)(t / CHART_STEP_S); k < a->n && (double)k * CHART_STEP_S < end; k++)
            lost[k] = 1;
    }
}

/* Larynx, skin and noise. Where the skin's contact is lost the signal goes within some ms, and the
 * baseline is another after it. */
static void disturb(const electrodes *g, gsl_rng *r, const act *a, const unsigned char *lost,
                    clip *c)
{
    double *drift = xmalloc(a->n, sizeof *drift), held = 1, low = 0, offset = 0;
    chance_wander(r, a->n, CHART_STEP_S, g->drift_s, g->drift, drift);
    double pole = exp(-2 * M_PI * NOISE_HZ / c->rate_hz);
    double noise = pow(10, g->noise_db / 20) / sqrt((1 - pole) / (1 + pole));
    unsigned char was = 0;
    for (size_t j = 0; j < c->n; j++) {
        double at = (double)j / c->rate_hz / CHART_STEP_S;
        size_t k = at < (double)a->n ? (size_t)at : a->n - 1, next = k + 1 < a->n ? k + 1 : k;
        held += ((lost[k] ? 0.01 : 1) - held) / (0.005 * c->rate_hz);
        if (lost[k] != was)
            offset = chance_bell(r, 0.7);
        was = lost[k];
        low = pole * low + (1 - pole) * chance_bell(r, noise);
        double moved = drift[k] + (at - (double)k) * (drift[next] - drift[k]);
        c->samples[j] = held * c->samples[j] + low + moved + offset;
    }
    free(drift);
}

static void to_rate(clip *c, int rate_hz, size_t n)
{
    double *out = xcalloc(n, sizeof *out);
    size_t done = 0;
    soxr_io_spec_t io = soxr_io_spec(SOXR_FLOAT64_I, SOXR_FLOAT64_I);
    soxr_quality_spec_t quality = soxr_quality_spec(SOXR_VHQ, 0);
    soxr_error_t failed = soxr_oneshot(c->rate_hz, rate_hz, 1, c->samples, c->n, NULL, out, n,
                                       &done, &io, &quality, NULL);
    assert(!failed);
    (void)failed;
    for (size_t j = 0; j < n; j++) /* what was cut off rings beyond full scale */
        out[j] = fmin(fmax(out[j], -0.99), 0.99);
    free(c->samples);
    *c = (clip){n, rate_hz, out};
}

contacts electrodes_render(const electrodes *g, const vocalist *v, const act *a, int take)
{
    gsl_rng *r = chance_new(cast_get(v->family, v->woman).name, v->seed, take, "electrodes");
    contacts out = {.contact_share = array_filled(a->n, (double)NAN),
                    .peaks_share = array_filled(a->n, (double)NAN),
                    .lost = xcalloc(a->n, 1)};
    int rate = v->rate_hz;
    while (rate < LEAST_RATE_HZ)
        rate += v->rate_hz;
    out.egg = (clip){.n = (size_t)((double)a->n * CHART_STEP_S * rate), .rate_hz = rate};
    out.egg.samples = xcalloc(out.egg.n, sizeof *out.egg.samples);
    double *more = xmalloc(a->n, sizeof *more), from_s = 0;
    chance_wander(r, a->n, CHART_STEP_S, 1, 0.08, more);
    laying l = {g, a, more, rate, g->lead_s, out.egg.samples, out.egg.n};
    cycle *cycles;
    size_t n = render_cycles(v, a, take, &cycles);
    for (size_t i = 0; i < n; i++)
        if (a->line.gate[cycles[i].step] > 0)
            lay(&l, &cycles[i], &out, &from_s);
        else
            from_s = 0;
    lose(g, r, a, out.lost);
    disturb(g, r, a, out.lost, &out.egg);
    through_device(g, &out.egg);
    to_rate(&out.egg, v->rate_hz, (size_t)((double)a->n * CHART_STEP_S * v->rate_hz));
    free(cycles);
    free(more);
    gsl_rng_free(r);
    return out;
}

void contacts_clear(contacts *c)
{
    clip_clear(&c->egg);
    free(c->contact_share);
    free(c->peaks_share);
    free(c->lost);
    *c = (contacts){.lost = NULL};
}
