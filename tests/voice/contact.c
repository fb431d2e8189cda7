/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/contact.h"

#include "base/array.h"
#include "voice/dice.h"
#include "voice/lf.h"

#include <math.h>
#include <stdlib.h>

enum { OVER = 4 };
static const double criterion = 3.0 / 7;

double contact_at(const contact_pulse *p, double t)
{
    if (t < 0 || t >= p->rise + p->top + p->fall)
        return 0;
    if (t < p->rise)
        return 0.5 - 0.5 * cos(M_PI * t / p->rise);
    t -= p->rise + p->top;
    return t < 0 ? 1 : 0.5 + 0.5 * cos(M_PI * t / p->fall);
}

double contact_quotient(const contact_pulse *p)
{
    return p->rise / 2 + p->top + p->fall * acos(2 * criterion - 1) / M_PI;
}

double contact_peaks(const contact_pulse *p)
{
    return p->rise / 2 + p->top + p->fall / 2;
}

contact_wiring contact_wire(const singer *s)
{
    gsl_rng *r = dice_new(s->seed ^ 0xe66, 0, DICE_SINGER);
    contact_wiring w = {.turned = dice_chance(r, 0.5), .channel = dice_chance(r, 0.3) ? 1 : 2};
    double lo[2] = {0.42, 0.2}, hi[2] = {0.6, 0.38};
    double slow[2] = {0.06, 0.16}, slower[2] = {0.12, 0.28};
    for (int i = 0; i < 2; i++) {
        w.quotient[i] = dice_between(r, lo[i], hi[i]);
        w.rise[i] = dice_between(r, slow[i], slower[i]);
        w.fall[i] = dice_between(r, 0.2, 0.35);
    }
    w.gain_db = -dice_between(r, 3, 11);
    bool weak = dice_chance(r, 1.0 / 3);
    double strong_db = dice_between(r, 28, 50), weak_db = dice_between(r, 14, 26);
    w.noise_db = -9 - (s->woman && weak ? weak_db : strong_db); /* -9: RMS of a usual pulse */
    w.level_db = dice_between(r, s->woman && weak ? -36 : -24, -14);
    w.larynx = dice_between(r, -0.15, 0.15);
    w.wander = dice_between(r, 0.1, 1);
    w.hum = dice_chance(r, 0.4) ? pow(10, w.noise_db / 20) * dice_between(r, 0.3, 1.5) : 0;
    w.lost_share = dice_chance(r, 0.3) ? dice_between(r, 0.02, 0.1) : 0;
    w.lead_s = dice_between(r, 0.0009, 0.0023);
    gsl_rng_free(r);
    return w;
}

static contact_pulse pulse_of(const contact_wiring *w, const singer *s, const performance *p,
                              size_t k)
{
    double m2 = p->weight[k], here[3];
    for (int i = 0; i < 3; i++) {
        const double *of = i == 0 ? w->quotient : i == 1 ? w->rise : w->fall;
        here[i] = (1 - m2) * of[0] + m2 * of[1];
    }
    double usual = singer_rd(s, m2, s->boundary.pitch_st, s->boundary.level_db, 0);
    double quotient = here[0] - 0.12 * (p->rd[k] - usual);
    quotient = fmin(fmax(quotient, 0.15), 0.75);
    contact_pulse c = {.rise = here[1], .fall = here[2]};
    double slopes = contact_quotient(&c), shrink = fmin(1, quotient / slopes);
    c.rise *= shrink;
    c.fall *= shrink;
    c.top = quotient - contact_quotient(&c);
    return c;
}

/* The contact pulse goes with the LF pulse's closure, into the next period. */
static void add_pulse(const contact_wiring *w, const singer *s, const performance *p,
                      const sing_pulse *one, double rate, size_t n, double *x)
{
    contact_pulse c = pulse_of(w, s, p, one->step);
    lf_pulse lf = lf_from_rd(p->rd[one->step], p->ra_factor[one->step]);
    double t0 = one->end_s - one->at_s, start = one->at_s + (lf.te - c.rise / 2) * t0 - w->lead_s;
    double gain = pow(10, (p->weight[one->step] * w->gain_db + 0.5 * one->more_db) / 20);
    gain *= sqrt(p->gate[one->step]);
    double end = start + (c.rise + c.top + c.fall) * t0;
    for (size_t i = (size_t)ceil(fmax(0, start) * rate); i < n && (double)i / rate < end; i++)
        x[i] = fmax(x[i], gain * contact_at(&c, ((double)i / rate - start) / t0));
}

static void note_truth(const contact_wiring *w, const singer *s, const performance *p,
                       contact_channel *out)
{
    for (size_t k = 0; k < p->n; k++) {
        out->contact_share[k] = out->peaks_share[k] = (double)NAN;
        if (!p->reg[k])
            continue;
        contact_pulse c = pulse_of(w, s, p, k);
        out->contact_share[k] = contact_quotient(&c);
        out->peaks_share[k] = contact_peaks(&c);
    }
}

/* Box averages of OVER samples. */
static void decimate(const double *over, sound *out)
{
    for (size_t j = 0; j < out->n; j++)
        for (size_t i = j * OVER; i < (j + 1) * OVER; i++)
            out->samples[j] += over[i] / OVER;
}

static void lose(const contact_wiring *w, gsl_rng *r, const performance *p, unsigned char *lost)
{
    for (double t = dice_between(r, 0.2, 2); w->lost_share > 0; t += 0) {
        double length = dice_between(r, 0.08, 0.6);
        if (t + length > (double)p->n * SCORE_STEP_S)
            return;
        for (size_t k = (size_t)(t / SCORE_STEP_S); (double)k * SCORE_STEP_S < t + length; k++)
            lost[k] = 1;
        t += length / w->lost_share * dice_between(r, 0.5, 1.5);
    }
}

static void disturb(const contact_wiring *w, const singer *s, const performance *p, gsl_rng *r,
                    contact_channel *c)
{
    double *wander = xmalloc(p->n, sizeof *wander), larynx = 0, held = 1;
    dice_wander(r, p->n, SCORE_STEP_S, 0.4, w->wander, wander);
    double noise = pow(10, w->noise_db / 20), level = pow(10, w->level_db / 20);
    for (size_t j = 0; j < c->egg.n; j++) {
        double t = (double)j / c->egg.rate_hz;
        size_t k = (size_t)(t / SCORE_STEP_S);
        k = k < p->n ? k : p->n - 1;
        if (p->reg[k])
            larynx += (w->larynx * (p->pitch_st[k] - s->boundary.pitch_st) - larynx) /
                      (0.1 * c->egg.rate_hz);
        held += ((c->lost[k] ? 0.02 : 1) - held) / (0.004 * c->egg.rate_hz);
        double sum = held * (c->egg.samples[j] + larynx + wander[k]) + dice_normal(r, noise);
        sum += w->hum * sin(2 * M_PI * 50 * t);
        c->egg.samples[j] = fmin(fmax(level * (w->turned ? -sum : sum), -0.98), 0.98);
    }
    free(wander);
}

contact_channel contact_sing(const contact_wiring *w, const singer *s, const performance *p,
                             int take)
{
    gsl_rng *r = dice_new(s->seed ^ 0xe66, (uint64_t)take, DICE_SOURCE);
    contact_channel c = {.contact_share = xmalloc(p->n, sizeof *c.contact_share),
                         .peaks_share = xmalloc(p->n, sizeof *c.peaks_share),
                         .lost = xcalloc(p->n, 1)};
    c.egg = (sound){.n = (size_t)((double)p->n * SCORE_STEP_S * s->rate_hz), .rate_hz = s->rate_hz};
    c.egg.samples = xcalloc(c.egg.n, sizeof *c.egg.samples);
    double *over = xcalloc(c.egg.n * OVER, sizeof *over);
    sing_pulse *pulses;
    size_t n = sing_pulses(s, p, take, &pulses);
    for (size_t i = 0; i < n; i++)
        add_pulse(w, s, p, &pulses[i], (double)OVER * s->rate_hz, c.egg.n * OVER, over);
    decimate(over, &c.egg);
    note_truth(w, s, p, &c);
    lose(w, r, p, c.lost);
    disturb(w, s, p, r, &c);
    free(over);
    free(pulses);
    gsl_rng_free(r);
    return c;
}

void contact_clear(contact_channel *c)
{
    sound_clear(&c->egg);
    free(c->contact_share);
    free(c->peaks_share);
    free(c->lost);
    *c = (contact_channel){.lost = NULL};
}
