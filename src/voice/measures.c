/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/measures.h"

#include "base/array.h"
#include "voice/cepstrum.h"
#include "voice/level.h"
#include "voice/spectrum.h"

#include <gsl/gsl_fit.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* ISO 3744 asks as much before a level is corrected for noise (from memory); of bins with nothing
 * but noise one in twenty rises so far over those about it. */
static const double drowned_db = 6;
static const double balance_hz = 1000;
enum { LOW_HARMONICS = 4, FEWEST_ON_A_LINE = 3, SMOOTH = 2 /* frames on either side */ };

static const struct {
    const char *name;
    bool is_level; /* moves with the gain */
} columns[MEASURES] = {
    [MEASURE_H1_H2] = {"h1_h2_db", false},
    [MEASURE_SLOPE] = {"slope_db_oct", false},
    [MEASURE_SLOPE_LOW] = {"slope_low_db_oct", false},
    [MEASURE_BALANCE] = {"balance_db", false},
    [MEASURE_HNR] = {"hnr_db", false},
    [MEASURE_CPPS] = {"cpps_db", false},
    [MEASURE_LAF] = {"laf_db", true},
    [MEASURE_LAS] = {"las_db", true},
    [MEASURE_LCF] = {"lcf_db", true},
    [MEASURE_LCS] = {"lcs_db", true},
    [MEASURE_LZF] = {"lzf_db", true},
    [MEASURE_LZS] = {"lzs_db", true},
};

const char *measure_name(measure m)
{
    return columns[m].name;
}

/* Mean power in the bins between harmonics h and h + 1 that neither reaches. */
static double between(const spectrum *s, int h)
{
    double sum = 0;
    int bins = 0;
    for (int k = h * s->periods + 2; k <= (h + 1) * s->periods - 2; k++) {
        if (k > s->harmonics * s->periods + s->periods / 2)
            break;
        sum += s->power[k];
        bins++;
    }
    return sum / bins;
}

static double db(double power)
{
    return 10 * log10(power);
}

/* Straight line through the levels of harmonics 1..n, over the octaves; NaN with too few. */
static double slope(const float *harmonic_db, int n)
{
    double octave[SPECTRUM_HARMONICS], level[SPECTRUM_HARMONICS], start, slope, ignored[4];
    size_t count = 0;
    for (int h = 0; h < n; h++)
        if (!isnan(harmonic_db[h])) {
            octave[count] = log2(h + 1);
            level[count++] = (double)harmonic_db[h];
        }
    if (count < FEWEST_ON_A_LINE)
        return (double)NAN;
    gsl_fit_linear(octave, 1, level, 1, count, &start, &slope, &ignored[0], &ignored[1],
                   &ignored[2], &ignored[3]);
    return slope;
}

static double balance(const spectrum *s)
{
    double low = 0, high = 0;
    for (int k = s->periods / 2; k <= s->harmonics * s->periods + s->periods / 2; k++)
        *(s->hz * k / s->periods < balance_hz ? &low : &high) += s->power[k];
    return db(high / low);
}

/* Levels of the harmonics into harmonic_db; returns harmonics over noise. */
static double measure_harmonics(const spectrum *s, float *harmonic_db)
{
    double voice = 0, noise = 0;
    for (int h = 1; h <= s->harmonics; h++) {
        double total = s->power[h * s->periods], below = (between(s, h - 1) + between(s, h)) / 2;
        bool drowned = db(total) - db(below) < drowned_db;
        harmonic_db[h - 1] = drowned ? NAN : (float)level_less_noise(db(total), db(below));
        voice += total - below;
        noise += below / spectrum_noise_hz(s) * s->hz;
    }
    return voice > 0 ? db(voice / noise) : (double)NAN;
}

static void measure_frame(const spectrum *s, float *value, float *harmonic_db)
{
    value[MEASURE_HNR] = (float)measure_harmonics(s, harmonic_db);
    if (s->harmonics > 1)
        value[MEASURE_H1_H2] = harmonic_db[0] - harmonic_db[1];
    value[MEASURE_SLOPE] = (float)slope(harmonic_db, s->harmonics);
    if (s->harmonics >= LOW_HARMONICS)
        value[MEASURE_SLOPE_LOW] = (float)slope(harmonic_db, LOW_HARMONICS);
    value[MEASURE_BALANCE] = (float)balance(s);
    value[MEASURE_CPPS] = (float)cepstral_prominence_db(s);
}

static void smooth_cpps(measures *m)
{
    float *mean = xmalloc(m->n, sizeof *mean);
    for (size_t i = 0; i < m->n; i++) {
        float sum = 0, count = 0;
        for (size_t k = i < SMOOTH ? 0 : i - SMOOTH; k < m->n && k <= i + SMOOTH; k++) {
            float one = m->value[k * MEASURES + MEASURE_CPPS];
            if (!isnan(one)) {
                sum += one;
                count++;
            }
        }
        mean[i] = isnan(m->value[i * MEASURES + MEASURE_CPPS]) ? NAN : sum / count;
    }
    for (size_t i = 0; i < m->n; i++)
        m->value[i * MEASURES + MEASURE_CPPS] = mean[i];
    free(mean);
}

measures *measures_new(void)
{
    return xcalloc(1, sizeof(measures));
}

measures *measures_of(const signal *x, double hop_s, size_t n, const double *hz)
{
    measures *m = measures_new();
    size_t room = 0;
    m->n = n;
    m->value = xmalloc(n * MEASURES, sizeof *m->value);
    m->harmonics = xcalloc(n, sizeof *m->harmonics);
    for (size_t i = 0; i < n * MEASURES; i++)
        m->value[i] = NAN;
    spectrograph *g = n ? spectrograph_new(x, hop_s, n, hz) : NULL;
    for (size_t i = 0; i < n; i++) {
        spectrum s;
        if (!spectrograph_frame(g, i, &s))
            continue;
        array_reserve((void **)&m->harmonic_db, &room, m->n_levels + (size_t)s.harmonics,
                      sizeof *m->harmonic_db);
        measure_frame(&s, m->value + i * MEASURES, m->harmonic_db + m->n_levels);
        m->harmonics[i] = (unsigned char)s.harmonics;
        m->n_levels += (size_t)s.harmonics;
    }
    spectrograph_free(g);
    smooth_cpps(m);
    return m;
}

void measures_free(measures *m)
{
    if (!m)
        return;
    free(m->value);
    free(m->harmonics);
    free(m->harmonic_db);
    free(m);
}

void measures_meter(measures *m, const meter *from, size_t first)
{
    static const struct {
        measure at;
        weighting_curve curve;
        meter_speed speed;
    } levels[] = {{MEASURE_LAF, WEIGHTING_A, METER_FAST}, {MEASURE_LAS, WEIGHTING_A, METER_SLOW},
                  {MEASURE_LCF, WEIGHTING_C, METER_FAST}, {MEASURE_LCS, WEIGHTING_C, METER_SLOW},
                  {MEASURE_LZF, WEIGHTING_Z, METER_FAST}, {MEASURE_LZS, WEIGHTING_Z, METER_SLOW}};
    float *all = xmalloc(m->n, sizeof *all);
    for (size_t l = 0; l < sizeof levels / sizeof *levels; l++) {
        meter_frames(from, levels[l].curve, levels[l].speed, first, m->n, all);
        for (size_t i = 0; i < m->n; i++)
            m->value[i * MEASURES + (size_t)levels[l].at] = all[i];
    }
    free(all);
}

void measures_shift(measures *m, double by_db)
{
    for (size_t i = 0; i < m->n * MEASURES; i++)
        if (columns[i % MEASURES].is_level)
            m->value[i] += (float)by_db;
    for (size_t i = 0; i < m->n_levels; i++)
        m->harmonic_db[i] += (float)by_db;
}

static size_t levels_in(const measures *m, size_t first, size_t n)
{
    size_t sum = 0;
    for (size_t i = first; i < first + n; i++)
        sum += m->harmonics[i];
    return sum;
}

void measures_append(measures *m, const measures *from, size_t first, size_t n)
{
    size_t start = levels_in(from, 0, first), levels = levels_in(from, first, n);
    if (!n)
        return;
    m->value = xrealloc(m->value, (m->n + n) * MEASURES, sizeof *m->value);
    m->harmonics = xrealloc(m->harmonics, m->n + n, sizeof *m->harmonics);
    m->harmonic_db = xrealloc(m->harmonic_db, m->n_levels + levels, sizeof *m->harmonic_db);
    memcpy(m->value + m->n * MEASURES, from->value + first * MEASURES,
           n * MEASURES * sizeof *m->value);
    memcpy(m->harmonics + m->n, from->harmonics + first, n);
    if (levels)
        memcpy(m->harmonic_db + m->n_levels, from->harmonic_db + start,
               levels * sizeof *m->harmonic_db);
    m->n += n;
    m->n_levels += levels;
}
