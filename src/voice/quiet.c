/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/quiet.h"

#include "base/array.h"
#include "sound/weighting.h"
#include "voice/hum.h"
#include "voice/loudness.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { A_SECOND = 100, SMOOTH = 5, HALF_SECOND = 50, CHUNK = 2048 };
static const double cell_s = 0.01;
static const double after_s = 0.3, before_s = 0.1; /* of a pause: see the header */
static const double high_hz = 2000;
static const double least_pause_s = 0.1, least_early_s = 0.2, least_late_s = 0.8;

/* Mean power of the last cells of one kind, as many as it takes. */
typedef struct running {
    double power[HALF_SECOND], sum;
    size_t n, most;
} running;

struct quiet {
    int rate_hz;
    weighting *c;
    double pole, x1, y1, x2, y2; /* the high-pass, twice, of one pole each */
    running noise, tone, high;
    loudness *noises, *tones, *early, *late;
    size_t pause_cells, early_cells, late_cells;
    hum *mains;
};

quiet *quiet_new(int rate_hz)
{
    quiet *q = xcalloc(1, sizeof *q);
    q->rate_hz = rate_hz;
    q->c = weighting_new(WEIGHTING_C, rate_hz);
    q->pole = exp(-2 * M_PI * high_hz / rate_hz);
    q->noise.most = q->high.most = SMOOTH;
    q->tone.most = HALF_SECOND;
    q->noises = loudness_new();
    q->tones = loudness_new();
    q->early = loudness_new();
    q->late = loudness_new();
    q->mains = hum_new(rate_hz);
    return q;
}

void quiet_free(quiet *q)
{
    if (!q)
        return;
    weighting_free(q->c);
    loudness_free(q->noises);
    loudness_free(q->tones);
    loudness_free(q->early);
    loudness_free(q->late);
    hum_free(q->mains);
    free(q);
}

/* Takes a cell; true, with the mean's level, when there are enough in a row. */
static bool running_add(running *r, double power, double *db)
{
    size_t at = r->n % r->most;
    r->power[at] = power;
    r->n++;
    if (r->n < r->most)
        return false;
    double sum = 0;
    for (size_t i = 0; i < r->most; i++)
        sum += r->power[i];
    *db = sum > 0 ? 10 * log10(sum / (double)r->most) : -(double)INFINITY;
    return true;
}

static void running_break(running *r)
{
    r->n = 0;
}

/* Mean squares of a cell, C-weighted and above 2 kHz. */
static void measure(quiet *q, const float *x, size_t n, double *weighted, double *high)
{
    double block[CHUNK];
    *weighted = *high = 0;
    for (size_t from = 0; from < n; from += CHUNK) {
        size_t now = n - from < CHUNK ? n - from : CHUNK;
        for (size_t i = 0; i < now; i++) {
            double v = block[i] = (double)x[from + i];
            double y1 = v - q->x1 + q->pole * q->y1, y2 = y1 - q->x2 + q->pole * q->y2;
            q->x1 = v;
            q->x2 = q->y1 = y1;
            q->y2 = y2;
            *high += y2 * y2 / (double)n;
        }
        weighting_process(q->c, block, now);
        for (size_t i = 0; i < now; i++)
            *weighted += block[i] * block[i] / (double)n;
    }
}

static void hear_noise(quiet *q, bool pause, double power)
{
    double db;
    if (!pause)
        running_break(&q->noise);
    else if (running_add(&q->noise, power, &db))
        loudness_add(q->noises, &db, 1);
    q->pause_cells += pause;
}

static void hear_tone(quiet *q, bool tone, double power)
{
    double db;
    if (!tone)
        running_break(&q->tone);
    else if (running_add(&q->tone, power, &db))
        loudness_add(q->tones, &db, 1);
}

static void hear_gain(quiet *q, double since_s, bool soon, double power)
{
    bool early = since_s >= 0.05 && since_s <= 0.6, late = since_s >= 1;
    double db;
    if (soon || !(early || late)) {
        running_break(&q->high);
    } else if (running_add(&q->high, power, &db)) {
        loudness_add(early ? q->early : q->late, &db, 1);
        q->early_cells += early;
        q->late_cells += late;
    }
}

void quiet_add(quiet *q, const moment *m)
{
    for (size_t k = 0; k < A_SECOND; k++) {
        size_t rate = (size_t)m->rate_hz, from = k * rate / A_SECOND;
        size_t to = (k + 1) * rate / A_SECOND;
        if (to > m->n)
            break;
        double weighted, high, at_s = ((double)k + 0.5) * cell_s;
        measure(q, m->x + from, to - from, &weighted, &high);
        bool soon = !moment_unvoiced(m, at_s, at_s + before_s);
        double since_s = moment_since_voice(m, at_s);
        bool pause = since_s > after_s && !soon;
        hear_noise(q, pause, weighted);
        bool tone = !pause && !moment_unvoiced(m, at_s - 0.08, at_s - 0.05) &&
                    !moment_unvoiced(m, at_s + 0.05, at_s + 0.08);
        hear_tone(q, tone, weighted);
        hear_gain(q, since_s, soon, high);
        hum_add(q->mains, m->x + from, to - from, pause);
    }
}

quiet_figures quiet_read(const quiet *q)
{
    quiet_figures f = {.pause_s = (double)q->pause_cells * cell_s,
                       .noise_db = (double)NAN,
                       .softest_db = loudness_of(q->tones, 0.02),
                       .gain_db = (double)NAN};
    if (f.pause_s >= least_pause_s)
        f.noise_db = loudness_of(q->noises, 0.5);
    double early = loudness_of(q->early, 0.2), late = loudness_of(q->late, 0.2);
    if ((double)q->early_cells * cell_s >= least_early_s &&
        (double)q->late_cells * cell_s >= least_late_s && isfinite(early) && isfinite(late))
        f.gain_db = late - early;
    f.hum_db = hum_read(q->mains, &f.hum_hz);
    return f;
}
