/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Measures of the spectrum. Oracles: sums of sines whose levels are given, with noise of given
 * power; the cepstrum of a train of pulses and of noise in closed form (Skowronski et al. 2015 have
 * 1/2 for the train); the LF table (see test_lf.c); arithmetic of levels. */
#include "base/array.h"
#include "voice/cepstrum.h"
#include "voice/level.h"
#include "voice/lf.h"
#include "voice/measures.h"

#include <complex.h>
#include <gsl/gsl_randist.h>
#include <gsl/gsl_rng.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { MOST = 180 };
static const double hop_s = 0.005;

/* A voice: harmonics of given RMS along a pitch that trembles, and white noise. */
typedef struct voice {
    double rate_hz, seconds, hz, vibrato_st, noise_rms;
    int harmonics;
    double rms[MOST]; /* of harmonic h + 1 */
} voice;

typedef struct take {
    signal x;
    size_t n;
    double *hz;
} take;

static double pitch_at(const voice *v, double at)
{
    return v->hz * exp2(v->vibrato_st * sin(2 * M_PI * 6 * at) / 12);
}

static take sing(const voice *v)
{
    take t = {.x = {.rate_hz = v->rate_hz, .n = (size_t)(v->seconds * v->rate_hz)}};
    t.x.x = xcalloc(t.x.n, sizeof *t.x.x);
    t.n = (size_t)(v->seconds / hop_s);
    t.hz = xmalloc(t.n, sizeof *t.hz);
    for (size_t i = 0; i < t.n; i++)
        t.hz[i] = pitch_at(v, (double)i * hop_s);
    gsl_rng *dice = gsl_rng_alloc(gsl_rng_mt19937);
    enum { FINE = 16 };
    double phase = 0;
    for (size_t i = 0; i < t.x.n; i++) {
        double sum = gsl_ran_gaussian(dice, 1) * v->noise_rms;
        for (int h = 1; h <= v->harmonics; h++)
            sum += M_SQRT2 * v->rms[h - 1] * sin(2 * M_PI * h * phase + 2.4 * h * h);
        t.x.x[i] = (float)sum;
        for (int k = 0; k < FINE; k++)
            phase += pitch_at(v, ((double)i + (k + 0.5) / FINE) / v->rate_hz) / FINE / v->rate_hz;
    }
    gsl_rng_free(dice);
    return t;
}

static void take_clear(take *t)
{
    free(t->x.x);
    free(t->hz);
}

static measures *measured(const take *t)
{
    return measures_of(&t->x, hop_s, t->n, t->hz);
}

static double value(const measures *m, size_t frame, measure which)
{
    return (double)m->value[frame * MEASURES + (size_t)which];
}

/* Means over the frames whose windows lie within the sound: 50 ms of either end are left out. */
static double mean_of(const measures *m, measure which)
{
    double sum = 0, count = 0;
    for (size_t i = 10; i + 10 < m->n; i++) {
        sum += value(m, i, which);
        count++;
    }
    return sum / count;
}

static const float *levels_of(const measures *m, size_t frame)
{
    const float *l = m->harmonic_db;
    for (size_t i = 0; i < frame; i++)
        l += m->harmonics[i];
    return l;
}

static double worst_level(const measures *m, const voice *v)
{
    double worst = 0;
    for (size_t i = 10; i + 10 < m->n; i++)
        for (int h = 0; h < m->harmonics[i]; h++)
            worst = fmax(worst, fabs((double)levels_of(m, i)[h] - 20 * log10(v->rms[h])));
    return worst;
}

/* Harmonics up to `most`, falling by db_oct from 0.1 on. */
static voice falling(double rate_hz, double hz, double db_oct, double top_hz)
{
    voice v = {.rate_hz = rate_hz, .seconds = 0.6, .hz = hz};
    for (; v.harmonics < MOST && (v.harmonics + 1) * hz < top_hz; v.harmonics++)
        v.rms[v.harmonics] = 0.1 * pow(10, db_oct * log2(v.harmonics + 1) / 20);
    return v;
}

static double balance_of(const voice *v)
{
    double low = 0, high = 0;
    for (int h = 0; h < v->harmonics && (h + 1) * v->hz < 5000; h++)
        *((h + 1) * v->hz < 1000 ? &low : &high) += v->rms[h] * v->rms[h];
    return 10 * log10(high / low);
}

/* Sums of sines, steady: levels, their difference, slopes and balance are given by construction.
 * None of the pitches puts a harmonic within two bins of 1 or 5 kHz, where the two sides would
 * share it. Tolerance 0.02 dB (the interpolation's ripple); 0.05 dB
 * for single harmonics, since the last of them is 97 dB under the first, at the end of single
 * precision. */
static void test_sines(void **state)
{
    (void)state;
    static const double pitches[] = {61, 117, 224, 294, 434, 720, 1370};
    for (size_t p = 0; p < sizeof pitches / sizeof *pitches; p++)
        for (int db_oct = -15; db_oct <= -3; db_oct += 6) {
            voice v = falling(16000, pitches[p], db_oct, 7500);
            take t = sing(&v);
            measures *m = measured(&t);
            double level = worst_level(m, &v), balance = mean_of(m, MEASURE_BALANCE);
            int below = (int)ceil(5000 / v.hz) - 1;
            assert_int_equal(m->harmonics[50], below);
            print_message("%.0f Hz, %d dB/oct: level off by %.4f dB, slope %.3f, balance %.3f "
                          "(%.3f), HNR %.0f dB\n",
                          v.hz, db_oct, level, mean_of(m, MEASURE_SLOPE), balance, balance_of(&v),
                          mean_of(m, MEASURE_HNR));
            assert_true(level <= 0.05);
            assert_true(fabs(mean_of(m, MEASURE_H1_H2) + db_oct) <= 0.02);
            assert_true(fabs(mean_of(m, MEASURE_SLOPE) - db_oct) <= 0.02);
            assert_true(below < 4 ? isnan(mean_of(m, MEASURE_SLOPE_LOW))
                                  : fabs(mean_of(m, MEASURE_SLOPE_LOW) - db_oct) <= 0.02);
            assert_true(v.hz > 1000 ? balance > 60 : fabs(balance - balance_of(&v)) <= 0.05);
            assert_true(mean_of(m, MEASURE_HNR) >= 60);
            measures_free(m);
            take_clear(&t);
        }
}

/* A vibrato of a semitone either way moves no level and makes no noise; neither does the rate. What
 * is left is the straight line that the pitch is drawn as between frames. */
static void test_vibrato(void **state)
{
    (void)state;
    static const double rates[] = {8000, 11025, 16000};
    for (size_t r = 0; r < 3; r++) {
        voice v = falling(rates[r], 224, -9, 0.47 * rates[r]);
        v.vibrato_st = 1;
        take t = sing(&v);
        measures *m = measured(&t);
        double level = worst_level(m, &v), hnr = mean_of(m, MEASURE_HNR);
        print_message("vibrato at %.0f Hz: level off by %.3f dB, HNR %.1f dB\n", rates[r], level,
                      hnr);
        assert_true(level <= 0.2);
        assert_true(hnr >= 40);
        assert_true(fabs(mean_of(m, MEASURE_SLOPE) + 9) <= 0.05);
        measures_free(m);
        take_clear(&t);
    }
}

/* Sines of given power in white noise of given power: over the band from half of f0 to half a
 * harmonic past the last the noise is its share of the spectrum. Tolerance 0.3 dB: 400 frames of
 * noise, and the mean of its logarithm is a little under the logarithm of its mean. */
static void test_noise(void **state)
{
    (void)state;
    double worst = 0, worst_level = 0;
    for (int k = 0; k < 4; k++)
        for (int db = 5; db <= 35; db += 10) {
            voice v = falling(16000, (double[]){82, 196, 392, 784}[k], -9, 7900);
            v.seconds = 2;
            v.vibrato_st = k == 2;
            int below = (int)ceil(5000 / v.hz) - 1;
            double power = 0;
            for (int h = 0; h < below; h++)
                power += v.rms[h] * v.rms[h];
            v.noise_rms = sqrt(power * pow(10, -db / 10.0) * 8000 / (below * v.hz));
            take t = sing(&v);
            measures *m = measured(&t);
            double hnr = mean_of(m, MEASURE_HNR), level = 0;
            for (size_t i = 10; i + 10 < m->n; i++)
                level += (double)levels_of(m, i)[0] / (double)(m->n - 20);
            print_message("%.0f Hz: HNR %.2f dB, should be %d; H1 %.2f dB\n", v.hz, hnr, db, level);
            worst = fmax(worst, fabs(hnr - db));
            worst_level = fmax(worst_level, fabs(level + 20));
            measures_free(m);
            take_clear(&t);
        }
    print_message("worst HNR off by %.2f dB, H1 by %.2f dB\n", worst, worst_level);
    assert_true(worst <= 0.3);
    assert_true(worst_level <= 0.3);
}

/* Harmonics far under the noise in their bins are no numbers, and no part of a slope. */
static void test_drowned(void **state)
{
    (void)state;
    voice v = falling(16000, 224, -6, 7500);
    for (int h = 8; h < v.harmonics; h++)
        v.rms[h] = 1e-5;
    v.noise_rms = 1e-3;
    take t = sing(&v);
    measures *m = measured(&t);
    int kept = 0, all = 0;
    for (size_t i = 10; i + 10 < m->n; i++)
        for (int h = 0; h < m->harmonics[i]; h++) {
            assert_true(h >= 8 || !isnan(levels_of(m, i)[h]));
            kept += h >= 8 && !isnan(levels_of(m, i)[h]);
            all += h >= 8;
        }
    print_message("%d of %d drowned harmonics told\n", kept, all);
    assert_true(kept < all / 12);
    measures_free(m);
    take_clear(&t);
}

/* A train of pulses, each a times the one before, one every T samples: X = 1 / (1 - a z^-T), of
 * which the complex cepstrum is a^k / k at k T, the real one half of that. It comes to the 1/2
 * of the ideal train as a comes to 1. Sampling the spectrum wraps it, which is added up here. */
static void test_cepstrum_of_pulses(void **state)
{
    (void)state;
    enum { LAST = 4096, PERIOD = 32, TURN = 2 * LAST / PERIOD };
    static double log_amplitude[LAST + 1], c[2 * PERIOD + 1];
    static const double decays[] = {0.5, 0.9, 0.99, 0.999};
    double worst = 0;
    for (size_t d = 0; d < 4; d++) {
        double a = decays[d];
        for (int k = 0; k <= LAST; k++)
            log_amplitude[k] = -log(cabs(1 - a * cexp(-I * M_PI * k * PERIOD / LAST)));
        cepstrum_of(log_amplitude, LAST, 2 * PERIOD + 1, c);
        double want[2] = {0, 0};
        for (int k = 0; k < 1000 * TURN; k += TURN)
            for (int p = 1; p <= 2; p++)
                want[p - 1] +=
                    (pow(a, k + p) / (k + p) + pow(a, k + TURN - p) / (k + TURN - p)) / 2;
        print_message("pulses, a %.4f: %.5f at the period, %.5f at two, beside them %.1e\n", a,
                      c[PERIOD], c[2 * PERIOD], fabs(c[PERIOD + 1]));
        worst = fmax(worst, fabs(c[PERIOD + 1]));
        assert_true(fabs(c[PERIOD] - want[0]) <= 1e-9);
        assert_true(fabs(c[2 * PERIOD] - want[1]) <= 1e-9);
        assert_true(d > 2 || fabs(c[PERIOD] - a / 2) <= 5e-4);
    }
    assert_true(worst < 1e-9);
}

/* White noise: half the logarithm of exponential numbers, whose variance is pi^2 / 24, in every
 * bin but the ends; a mean of `last` such, each times a cosine, has that times 1/2 / last.
 * Tolerance 3 %: 27300 numbers. */
static void test_cepstrum_of_noise(void **state)
{
    (void)state;
    enum { LAST = 1000, RUNS = 300, FROM = 10, TO = 100 };
    double log_amplitude[LAST + 1], c[TO + 1], sum = 0;
    gsl_rng *dice = gsl_rng_alloc(gsl_rng_mt19937);
    for (int run = 0; run < RUNS; run++) {
        for (int k = 0; k <= LAST; k++)
            log_amplitude[k] = log(gsl_ran_exponential(dice, 1)) / 2;
        cepstrum_of(log_amplitude, LAST, TO + 1, c);
        for (int m = FROM; m <= TO; m++)
            sum += c[m] * c[m];
    }
    gsl_rng_free(dice);
    double got = sum / RUNS / (TO - FROM + 1), want = M_PI * M_PI / 24 / (2 * LAST);
    print_message("cepstrum of noise: variance %.3e, should be %.3e\n", got, want);
    assert_true(fabs(got / want - 1) <= 0.03);
}

/* Equal harmonics of power R^2 in noise that puts s^2 into a bin, 4 periods to the window: of
 * every four bins one holds R^2, two R^2 / 4 (Hann's skirts) and one the noise, whose logarithm
 * is on average ln s^2 - gamma. At the period the cepstrum is then (ln R^2 - ln s^2 + gamma) /
 * 8, and its power a third of the square, by the average over three; at two periods it is less
 * by ln(2) / 2. Elsewhere there is the noise's variance, pi^2 / 24 over twice the count of its
 * bins, which is in a mean level of three squares psi(3/2) + ln 2 - ln 3 nepers of power. The
 * line goes through all of it; the two peaks, three bins wide, lift it by their share, which is
 * worked out here on a model of the cepstrum. Tolerance 1 dB: neighbouring noise bins are nearly
 * but not quite independent. */
static void test_cpps(void **state)
{
    (void)state;
    for (int db = 20; db <= 50; db += 15) {
        voice v = falling(16000, 117, 0, 7900);
        v.seconds = 4;
        int below = (int)ceil(5000 / v.hz) - 1;
        double bin = 1.5 * v.hz / 4;
        v.noise_rms = 0.1 * pow(10, -db / 20.0) * sqrt(8000 / bin);
        take t = sing(&v);
        measures *m = measured(&t);
        double got = mean_of(m, MEASURE_CPPS);
        double gamma = 0.5772156649, psi = 0.03648997398; /* Euler's; digamma of 3/2 */
        double peak = (db * M_LN10 / 10 + gamma) / 8;
        double second = peak - M_LN2 / 2;
        double floor = M_PI * M_PI / 24 / (2.0 * below) / 16;
        double base = 10 * log10(floor) + (psi + log(2) - log(3)) * 10 / M_LN10;
        double line[5] = {0};
        int period = 2 * below, from = (period + 3) / 4;
        for (int k = from; k <= 2 * period; k++) {
            double off = k - (from + 2 * period) / 2.0;
            double y = abs(k - period) <= 1  ? 10 * log10(peak * peak / 3)
                       : k >= 2 * period - 1 ? 10 * log10(second * second / 3)
                                             : base;
            line[0] += 1;
            line[1] += y;
            line[2] += off * off;
            line[3] += off * y;
        }
        double trend = line[1] / line[0] + line[3] / line[2] * (period - (from + 2 * period) / 2.0);
        double want = 10 * log10(peak * peak / 3) - trend;
        print_message("CPPS %.2f dB, should be %.2f\n", got, want);
        assert_true(fabs(got - want) <= 1);
        measures_free(m);
        take_clear(&t);
    }
}

/* LF pulses: H1-H2 and H1-H3 of the derivative by the table that test_lf.c holds the pulse to,
 * worked out apart from this program from Fant, Liljencrants & Lin 1985 and Fant 1995. Tolerance
 * 0.1 dB, as there. */
static void test_lf_pulses(void **state)
{
    (void)state;
    static const double rows[][3] = {{0.3, -3.98, -4.16}, {0.7, 0.29, 5.45},   {1.0, 3.84, 9.63},
                                     {1.8, 11.97, 17.08}, {2.2, 15.09, 20.25}, {2.7, 19.29, 23.75}};
    for (size_t r = 0; r < sizeof rows / sizeof *rows; r++) {
        lf_pulse p = lf_from_rd(rows[r][0], 1);
        voice v = {.rate_hz = 16000, .seconds = 0.5, .hz = 200, .vibrato_st = 0.5};
        for (; v.harmonics < 35; v.harmonics++)
            v.rms[v.harmonics] = 0.1 * cabs(lf_harmonic(&p, v.harmonics + 1));
        take t = sing(&v);
        measures *m = measured(&t);
        double h1_h3 = (double)(levels_of(m, 50)[0] - levels_of(m, 50)[2]);
        print_message("Rd %.1f: H1-H2 %.2f (%.2f), H1-H3 %.2f (%.2f) dB\n", rows[r][0],
                      mean_of(m, MEASURE_H1_H2), rows[r][1], h1_h3, rows[r][2]);
        assert_true(fabs(mean_of(m, MEASURE_H1_H2) - rows[r][1]) <= 0.1);
        assert_true(fabs(h1_h3 - rows[r][2]) <= 0.1);
        measures_free(m);
        take_clear(&t);
    }
}

/* Across a flip: the pitch leaps by `st` between 0.295 and 0.305 s and the spectrum's slope with
 * it. Beside the flip by half a window (of 15 ms and a little at these pitches) and more all is as
 * on either side. */
static void test_flip(void **state)
{
    (void)state;
    voice low = falling(16000, 196, -9, 7500), high = falling(16000, 392, -15, 7500);
    take a = sing(&low), b = sing(&high);
    for (size_t i = 0; i < a.n; i++)
        a.hz[i] = (double)i * hop_s < 0.2975 ? a.hz[i] : b.hz[i];
    for (size_t i = (size_t)(0.2975 * 16000); i < a.x.n; i++)
        a.x.x[i] = b.x.x[i];
    measures *m = measured(&a);
    for (size_t i = 10; i + 10 < m->n; i++) {
        double at = (double)i * hop_s, want = at < 0.2975 ? 9 : 15;
        if (fabs(at - 0.2975) >= 0.0225)
            assert_true(fabs(value(m, i, MEASURE_H1_H2) - want) <= 0.1);
    }
    measures_free(m);
    take_clear(&a);
    take_clear(&b);
}

/* Ten times the amplitude is 20 dB more in every level and nothing in anything else. */
static void test_gain(void **state)
{
    (void)state;
    voice v = falling(16000, 224, -9, 7500);
    v.noise_rms = 0.003;
    take t = sing(&v);
    measures *a = measured(&t);
    for (size_t i = 0; i < t.x.n; i++)
        t.x.x[i] *= 10;
    measures *b = measured(&t);
    measures_shift(a, 20);
    assert_int_equal(a->n_levels, b->n_levels);
    for (size_t i = 0; i < a->n_levels; i++)
        if (!isnan(a->harmonic_db[i]))
            assert_true(fabsf(a->harmonic_db[i] - b->harmonic_db[i]) <= 0.01f);
    for (size_t i = 10; i + 10 < a->n; i++)
        for (int w = 0; w <= MEASURE_CPPS; w++)
            assert_true(fabs(value(a, i, (measure)w) - value(b, i, (measure)w)) <= 0.01);
    measures_free(a);
    measures_free(b);
    take_clear(&t);
}

/* Unvoiced frames, silence with a pitch, the ends of the sound, a pitch above the band, nothing. */
static void test_little(void **state)
{
    (void)state;
    voice v = falling(16000, 224, -9, 7500);
    take t = sing(&v);
    for (size_t i = 0; i < t.n; i++)
        t.hz[i] = i % 3 == 0 ? (double)NAN : i == 50 ? 5001 : t.hz[i];
    measures *m = measured(&t);
    for (size_t i = 0; i < m->n; i++) {
        bool none = i % 3 == 0 || i == 50;
        assert_int_equal(m->harmonics[i], none ? 0 : 22);
        /* Breaking off covers harmonics, and so does a pitch that is wrong by four octaves. */
        bool within = i >= 10 && i + 10 < m->n && (i < 40 || i > 60);
        for (int w = 0; w < MEASURES; w++)
            if (none || within)
                assert_true(isnan(value(m, i, (measure)w)) == (none || w > MEASURE_CPPS));
    }
    measures *all = measures_new();
    for (size_t first = 0; first < m->n; first += 17)
        measures_append(all, m, first, first + 17 < m->n ? 17 : m->n - first);
    assert_int_equal(all->n, m->n);
    assert_int_equal(all->n_levels, m->n_levels);
    assert_memory_equal(all->value, m->value, m->n * MEASURES * sizeof *m->value);
    assert_memory_equal(all->harmonic_db, m->harmonic_db, m->n_levels * sizeof *m->harmonic_db);
    assert_memory_equal(all->harmonics, m->harmonics, m->n);
    measures_free(all);
    measures_free(m);
    memset(t.x.x, 0, t.x.n * sizeof *t.x.x);
    m = measured(&t);
    for (size_t i = 0; i < m->n_levels; i++)
        assert_true(isnan(m->harmonic_db[i]));
    assert_true(isnan(value(m, 10, MEASURE_HNR)) && isnan(value(m, 10, MEASURE_BALANCE)));
    measures_free(m);
    for (size_t i = 0; i < t.n; i++)
        t.hz[i] = (double)NAN;
    m = measured(&t);
    assert_true(m->n == t.n && m->n_levels == 0);
    measures_free(m);
    t.n = 0;
    m = measured(&t);
    assert_true(m->n == 0);
    measures_free(m);
    measures_free(NULL);
    take_clear(&t);
}

/* F and S of the frames from the first asked for. */
static void test_weighted_levels(void **state)
{
    (void)state;
    enum { RATE = 48000, FIRST = 120 };
    voice v = falling(16000, 224, -9, 7500);
    take t = sing(&v);
    measures *m = measured(&t);
    float *x = xmalloc(2 * RATE, sizeof *x);
    for (int i = 0; i < 2 * RATE; i++)
        x[i] = (float)(0.1 * M_SQRT2 * sin(2 * M_PI * 100 * i / RATE));
    meter *from = meter_new(RATE, METER_ALL, hop_s, true);
    meter_add(from, x, 2 * RATE);
    measures_meter(m, from, FIRST);
    static const struct {
        measure at;
        double db, tau_s; /* steady, from the table of IEC 61672-1 at 100 Hz */
    } rows[] = {{MEASURE_LAF, -19.14, 0.125}, {MEASURE_LAS, -19.14, 1}, {MEASURE_LCF, -0.30, 0.125},
                {MEASURE_LCS, -0.30, 1},      {MEASURE_LZF, 0, 0.125},  {MEASURE_LZS, 0, 1}};
    for (size_t r = 0; r < sizeof rows / sizeof *rows; r++) {
        double grown = 1 - exp(-(FIRST + 50) * hop_s / rows[r].tau_s);
        double want = -20 + rows[r].db + 10 * log10(grown);
        print_message("%s %.2f (%.2f)\n", measure_name(rows[r].at), value(m, 50, rows[r].at), want);
        assert_true(fabs(value(m, 50, rows[r].at) - want) <= 0.1);
    }
    measures_shift(m, 94);
    assert_true(fabs(value(m, 50, MEASURE_LCS) - 94 + 20.3 - 10 * log10(1 - exp(-0.85))) <= 0.1);
    meter_free(from);
    measures_free(m);
    take_clear(&t);
    free(x);
}

/* Free field, 20 lg of the ratio: from 30 cm to 1 m -10.46 dB, doubled -6.02 dB. Noise: a total 10,
 * 15 or 20 dB over it is 0.46, 0.14, 0.04 dB more than the tone. Arithmetic. */
static void test_levels(void **state)
{
    (void)state;
    assert_true(fabs(level_at_distance(80, 30, 100) - 69.54) <= 0.005);
    assert_true(fabs(level_at_distance(80, 30, 60) - 73.98) <= 0.005);
    assert_true(level_at_distance(-(double)INFINITY, 30, 60) == -(double)INFINITY);
    static const double rows[][2] = {{10, 0.46}, {15, 0.14}, {20, 0.04}, {3.0103, 3.0103}};
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++)
        assert_true(fabs(60 - level_less_noise(60, 60 - rows[i][0]) - rows[i][1]) <= 0.005);
    assert_true(level_less_noise(60, -(double)INFINITY) == 60);
    assert_true(isnan(level_less_noise(60, 60)) && isnan(level_less_noise(50, 60)));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_sines),
        cmocka_unit_test(test_vibrato),
        cmocka_unit_test(test_noise),
        cmocka_unit_test(test_drowned),
        cmocka_unit_test(test_cepstrum_of_pulses),
        cmocka_unit_test(test_cepstrum_of_noise),
        cmocka_unit_test(test_cpps),
        cmocka_unit_test(test_lf_pulses),
        cmocka_unit_test(test_flip),
        cmocka_unit_test(test_gain),
        cmocka_unit_test(test_little),
        cmocka_unit_test(test_weighted_levels),
        cmocka_unit_test(test_levels),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
