/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Frequency and time weighting. Oracles: the tables of IEC 61672-1 (2013; tolerances of frequency
 * weighting from the committee draft IEC/CD 1672 of 1996, where it is the stricter), closed forms
 * of exponential averaging and of sines, and that blocks do not matter. */
#include "base/array.h"
#include "sound/meter.h"
#include "sound/weighting.h"

#include <complex.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { ROWS = 34, TABLE_RATES = 3 };

static const int table_rates[TABLE_RATES] = {44100, 48000, 96000};

/* IEC 61672-1, frequency weightings, to two decimals; row i is at 10^(1 + i / 10) Hz. */
static const double table[2][ROWS] = {
    [WEIGHTING_A] = {-70.43, -63.37, -56.69, -50.45, -44.70, -39.44, -34.63, -30.23, -26.19,
                     -22.50, -19.14, -16.10, -13.35, -10.87, -8.63,  -6.61,  -4.81,  -3.23,
                     -1.90,  -0.82,  0.00,   0.59,   0.98,   1.20,   1.27,   1.20,   0.97,
                     0.55,   -0.12,  -1.11,  -2.49,  -4.32,  -6.60,  -9.32},
    [WEIGHTING_C] = {-14.33, -11.25, -8.53, -6.24, -4.41, -3.01, -2.00, -1.29, -0.82,
                     -0.50,  -0.30,  -0.17, -0.08, -0.03, 0.00,  0.02,  0.03,  0.03,
                     0.03,   0.02,   0.00,  -0.03, -0.08, -0.17, -0.30, -0.50, -0.82,
                     -1.29,  -2.00,  -3.01, -4.41, -6.24, -8.53, -11.25},
};

/* Class 1, above and below. */
static const double above[ROWS] = {3, 2.5, 2, 2,   2, 1.5, 1, 1, 1, 1, 1,   1,   1,   1, 1, 1,   1,
                                   1, 1,   1, 0.7, 1, 1,   1, 1, 1, 1, 1.5, 1.5, 1.5, 2, 2, 2.5, 3};
static const double below[ROWS] = {INFINITY, INFINITY, 4, 2,   1.5, 1.5, 1, 1, 1,   1,       1, 1,
                                   1,        1,        1, 1,   1,   1,   1, 1, 0.7, 1,       1, 1,
                                   1,        1,        1, 1.5, 2,   2.5, 3, 5, 8,   INFINITY};

static double row_hz(int row)
{
    return pow(10, 1 + row / 10.0);
}

/* The first second and a half of the filter's answer to a click: at 20 Hz it has died away by
 * e^-190. */
typedef struct click {
    size_t n;
    int rate_hz;
    double *x;
} click;

static click click_of(weighting_curve curve, int rate_hz)
{
    click c = {.n = (size_t)rate_hz * 3 / 2, .rate_hz = rate_hz};
    weighting *w = weighting_new(curve, rate_hz);
    c.x = xcalloc(c.n, sizeof *c.x);
    c.x[0] = 1;
    weighting_process(w, c.x, c.n);
    weighting_free(w);
    return c;
}

static double gain_db(const click *c, double hz)
{
    double complex sum = 0, turn = cexp(-2 * M_PI * I * hz / c->rate_hz), at = 1;
    for (size_t i = 0; i < c->n; i++, at *= turn)
        sum += c->x[i] * at;
    return 20 * log10(cabs(sum));
}

/* The curves themselves agree with the table to its last digit, and with the two entries that the
 * standard rounds otherwise (C at 12.5 Hz and 20 kHz: -11.2) by as much. */
static void test_curves(void **state)
{
    (void)state;
    double worst = 0;
    for (int c = 0; c < 2; c++)
        for (int i = 0; i < ROWS; i++)
            worst = fmax(worst, fabs(weighting_db((weighting_curve)c, row_hz(i)) - table[c][i]));
    print_message("worst of 68 entries %.4f dB\n", worst);
    assert_true(worst <= 0.0051);
    assert_true(fabs(weighting_db(WEIGHTING_A, 1000)) < 1e-12); /* rounding */
    assert_true(fabs(weighting_db(WEIGHTING_C, 1000)) < 1e-12);
    assert_true(isinf(weighting_db(WEIGHTING_C, 0)) && weighting_db(WEIGHTING_Z, 20) == 0);
}

/* All 34 rows of A, C and Z at the usual rates, within class 1; of A and C also within 0.2 dB of
 * the table. */
static void test_table(void **state)
{
    (void)state;
    for (int r = 0; r < TABLE_RATES; r++)
        for (int c = 0; c < WEIGHTING_CURVES; c++) {
            click k = click_of((weighting_curve)c, table_rates[r]);
            double worst = 0, least_room = INFINITY;
            for (int i = 0; i < ROWS; i++) {
                double off = gain_db(&k, row_hz(i)) - (c == WEIGHTING_Z ? 0 : table[c][i]);
                least_room = fmin(least_room, fmin(above[i] - off, off + below[i]));
                worst = fmax(worst, fabs(off));
            }
            print_message("%c at %d Hz: off by %.3f dB at most, %.2f dB inside class 1\n", "ACZ"[c],
                          table_rates[r], worst, least_room);
            assert_true(least_room > 0.6);
            assert_true(c == WEIGHTING_Z || worst <= 0.2);
            free(k.x);
        }
}

/* Every rate from 8 to 192 kHz, a prime number of hertz apart: up to 0.95 of half the rate, or
 * 20 kHz, within 0.45 dB, and within class 1. */
static void test_any_rate(void **state)
{
    (void)state;
    double worst[2] = {0, 0}, at[2] = {0, 0}, fast = 0;
    for (int rate = 8000; rate <= 192000; rate += 2297)
        for (int c = 0; c < 2; c++) {
            click k = click_of((weighting_curve)c, rate);
            for (int i = 3; i < ROWS && row_hz(i) <= 0.95 * rate / 2; i++) {
                double off = gain_db(&k, row_hz(i)) - weighting_db((weighting_curve)c, row_hz(i));
                assert_true(off < above[i] && off > -below[i]);
                if (rate >= 48000)
                    fast = fmax(fast, fabs(off));
                if (fabs(off) > worst[c]) {
                    worst[c] = fabs(off);
                    at[c] = rate;
                }
            }
            free(k.x);
        }
    print_message("worst of any rate: A %.3f dB at %.0f Hz, C %.3f dB at %.0f Hz; from 48 kHz on "
                  "%.3f dB\n",
                  worst[0], at[0], worst[1], at[1], fast);
    assert_true(worst[0] <= 0.45 && worst[1] <= 0.45 && fast <= 0.1);
}

static void test_blocks_do_not_matter(void **state)
{
    (void)state;
    enum { N = 5000 };
    for (int c = 0; c < WEIGHTING_CURVES; c++) {
        double whole[N], parts[N];
        weighting *a = weighting_new((weighting_curve)c, 44100);
        weighting *b = weighting_new((weighting_curve)c, 44100);
        for (int i = 0; i < N; i++)
            whole[i] = parts[i] = sin(0.01 * i * i) + (i == 77);
        weighting_process(a, whole, N);
        for (size_t i = 0, n = 1; i < N; i += n, n = 1 + (n * 7 + 3) % 61)
            weighting_process(b, parts + i, n < N - i ? n : N - i);
        assert_memory_equal(whole, parts, sizeof whole);
        weighting_free(a);
        weighting_free(b);
    }
}

typedef struct sound {
    int rate_hz;
    size_t n;
    float *x;
} sound;

static sound silence(int rate_hz, double seconds)
{
    sound s = {.rate_hz = rate_hz, .n = (size_t)lround(seconds * rate_hz)};
    s.x = xcalloc(s.n, sizeof *s.x);
    return s;
}

static void add_sine(sound *s, double from_s, double to_s, double hz, double rms)
{
    for (size_t i = (size_t)lround(from_s * s->rate_hz); i < (size_t)lround(to_s * s->rate_hz); i++)
        s->x[i] += (float)(rms * M_SQRT2 * sin(2 * M_PI * hz * ((double)i / s->rate_hz - from_s)));
}

static meter *metered(const sound *s)
{
    meter *m = meter_new(s->rate_hz, METER_ALL, 0.005, true);
    meter_add(m, s->x, s->n);
    return m;
}

/* IEC 61672-1, reference responses to 4 kHz tonebursts, the maximum F and S level re the steady
 * level (to 0.1 dB), and the exact 10 lg(1 - e^(-T/tau)). Allowed: what
 * rounding leaves, and 0.1 dB for the filters' own error at 4 kHz and the edges of a burst. The
 * standard allows class 1 at least 0.5 dB. */
static void test_tonebursts(void **state)
{
    (void)state;
    static const struct {
        double ms, fast, slow;
    } rows[] = {{1000, 0.0, -2.0}, {500, -0.1, -4.1}, {200, -1.0, -7.4},  {100, -2.6, -10.2},
                {50, -4.8, -13.1}, {20, -8.3, -17.0}, {10, -11.1, -20.0}, {5, -14.1, -23.0},
                {2, -18.0, -27.0}, {1, -21.0, -30.0}};
    double worst = 0;
    for (int r = 0; r < TABLE_RATES; r++)
        for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
            double seconds = rows[i].ms / 1000;
            sound s = silence(table_rates[r], seconds + 0.5);
            add_sine(&s, 0.1034, 0.1034 + seconds, 4000, 0.1);
            meter *m = metered(&s);
            meter_levels l = meter_read(m);
            for (int c = 0; c < WEIGHTING_CURVES; c++) {
                double steady = -20 + weighting_db((weighting_curve)c, 4000);
                double fast = l.max_db[METER_FAST][c] - steady;
                double slow = l.max_db[METER_SLOW][c] - steady;
                assert_true(fabs(fast - rows[i].fast) <= 0.15);
                assert_true(fabs(slow - rows[i].slow) <= 0.15);
                worst = fmax(worst, fabs(fast - 10 * log10(1 - exp(-seconds / 0.125))));
                worst = fmax(worst, fabs(slow - 10 * log10(1 - exp(-seconds))));
            }
            meter_free(m);
            free(s.x);
        }
    print_message("worst toneburst against 10 lg(1 - e^(-T/tau)): %.3f dB\n", worst);
    assert_true(worst <= 0.15);
}

/* After a steady tone stops F falls by 34.7 and S by 4.34 dB/s (10 lg e / tau); IEC 61672-1 has
 * these as design goals. */
static void test_decay(void **state)
{
    (void)state;
    enum { FRAMES = 1401, FROM = 1010 };
    sound s = silence(48000, 7);
    add_sine(&s, 0, 5, 4000, 0.1);
    meter *m = metered(&s);
    float fast[FRAMES], slow[FRAMES];
    for (int c = 0; c < WEIGHTING_CURVES; c++) {
        meter_frames(m, (weighting_curve)c, METER_FAST, 0, FRAMES, fast);
        meter_frames(m, (weighting_curve)c, METER_SLOW, 0, FRAMES, slow);
        double f = (double)(fast[FROM] - fast[FROM + 200]), /* in one second */
            sl = (double)(slow[FROM] - slow[FROM + 200]);
        print_message("%c: F %.2f, S %.3f dB/s\n", "ACZ"[c], f, sl);
        assert_true(fabs(f - 10 * log10(exp(1)) / 0.125) <= 0.02);
        assert_true(fabs(sl - 10 * log10(exp(1))) <= 0.01);
    }
    meter_free(m);
    free(s.x);
}

/* F and S of a tone that begins at 1 s, frame by frame: 10 lg(1 - e^(-t/tau)). */
static void test_frames_are_in_their_place(void **state)
{
    (void)state;
    static const int rates[] = {8000, 11025, 44100, 48000, 192000};
    enum { FRAMES = 401 };
    double worst = 0;
    for (size_t r = 0; r < sizeof rates / sizeof *rates; r++) {
        sound s = silence(rates[r], 2);
        add_sine(&s, 1, 2, 1000, 0.5);
        meter *m = metered(&s);
        float db[FRAMES + 2];
        meter_frames(m, WEIGHTING_Z, METER_FAST, 0, FRAMES + 2, db);
        assert_true(isinf(db[0]) && isinf(db[200]));
        assert_true(!isnan(db[FRAMES - 1]) && isnan(db[FRAMES]));
        for (int i = 204; i < FRAMES; i++) {
            double want = -10 * log10(4) + 10 * log10(1 - exp(-(i * 0.005 - 1) / 0.125));
            worst = fmax(worst, fabs((double)db[i] - want));
        }
        meter_free(m);
        free(s.x);
    }
    print_message("worst F level of a frame %.4f dB\n", worst);
    assert_true(worst <= 0.05);
}

/* What is kept after some was dropped, and comes after that, is what it would have been. */
static void test_dropped_frames_move_nothing(void **state)
{
    (void)state;
    enum { FRAMES = 401, FROM = 150 };
    sound s = silence(48000, 2);
    add_sine(&s, 0.3, 1.7, 1000, 0.5);
    meter *all = metered(&s), *m = meter_new(s.rate_hz, METER_ALL, 0.005, true);
    float want[FRAMES], db[FRAMES];
    meter_add(m, s.x, s.n / 2);
    meter_drop(m, 100);
    meter_drop(m, FROM);
    meter_drop(m, 20);
    meter_add(m, s.x + s.n / 2, s.n - s.n / 2);
    for (int c = 0; c < WEIGHTING_CURVES; c++)
        for (int k = 0; k < METER_SPEEDS; k++) {
            meter_frames(all, (weighting_curve)c, (meter_speed)k, FROM, FRAMES - FROM, want);
            meter_frames(m, (weighting_curve)c, (meter_speed)k, FROM, FRAMES - FROM, db);
            assert_memory_equal(db, want, (FRAMES - FROM) * sizeof *db);
        }
    meter_drop(NULL, 3);
    meter_free(m);
    meter_free(all);
    free(s.x);
}

/* A sine of RMS 0.1 at 1 kHz reads -20 dB on every curve (0.01 dB: the filter's onset); the same
 * for half of the time 3.01 dB less; two tones their sum in power; DC nothing; full scale alone
 * does not matter. */
static void test_leq(void **state)
{
    (void)state;
    sound s = silence(48000, 20), half = silence(48000, 40), both = silence(48000, 20);
    add_sine(&s, 0, 20, 1000, 0.1);
    add_sine(&half, 10, 30, 1000, 0.1);
    add_sine(&both, 0, 20, 1000, 0.1);
    add_sine(&both, 0, 20, 100, 0.2);
    for (size_t i = 0; i < both.n; i++)
        both.x[i] += 0.25f;
    meter *m = metered(&s), *h = metered(&half), *b = metered(&both);
    meter_levels l = meter_read(m), lh = meter_read(h), lb = meter_read(b);
    for (int c = 0; c < WEIGHTING_CURVES; c++) {
        double low = c == WEIGHTING_Z ? 10 * log10(100.0 * 100 / (100.0 * 100 + 10 * 10))
                                      : weighting_db((weighting_curve)c, 100);
        double sum = 10 * log10(0.01 + 0.04 * pow(10, low / 10));
        print_message("Leq %c %.4f, half %.4f, two tones %.4f (%.4f)\n", "ACZ"[c], l.leq_db[c],
                      lh.leq_db[c], lb.leq_db[c], sum);
        assert_true(fabs(l.leq_db[c] + 20) <= 0.01);
        assert_true(fabs(lh.leq_db[c] + 20 + 10 * log10(2)) <= 0.01);
        assert_true(fabs(lb.leq_db[c] - sum) <= 0.02);
        assert_true(fabs(l.max_db[METER_FAST][c] + 20) <= 0.02);
    }
    meter_free(m);
    meter_free(h);
    meter_free(b);
    free(s.x);
    free(half.x);
    free(both.x);
}

static void test_nothing(void **state)
{
    (void)state;
    meter *m = meter_new(48000, METER_C, 0.005, false);
    meter_levels l = meter_read(m);
    assert_true(isnan(l.leq_db[WEIGHTING_C]) && isnan(l.max_db[METER_SLOW][WEIGHTING_C]));
    float quiet[1000] = {0};
    meter_add(m, quiet, 1000);
    l = meter_read(m);
    assert_true(l.leq_db[WEIGHTING_C] == -(double)INFINITY);
    assert_true(l.max_db[METER_FAST][WEIGHTING_C] == -(double)INFINITY);
    assert_true(isnan(l.leq_db[WEIGHTING_A]) && isnan(l.leq_db[WEIGHTING_Z]));
    meter_free(m);
    m = meter_new(48000, METER_ALL, 0.005, false); /* less than a step of 1 ms counts, too */
    meter_add(m, (const float[]){0.5f, -0.5f, 0.5f, -0.5f}, 4);
    l = meter_read(m);
    assert_true(fabs(l.leq_db[WEIGHTING_Z] - 20 * log10(0.5)) < 0.1);
    assert_true(l.max_db[METER_FAST][WEIGHTING_Z] == -(double)INFINITY);
    meter_free(m);
    meter_free(NULL);
    weighting_free(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_curves),
        cmocka_unit_test(test_table),
        cmocka_unit_test(test_any_rate),
        cmocka_unit_test(test_blocks_do_not_matter),
        cmocka_unit_test(test_tonebursts),
        cmocka_unit_test(test_decay),
        cmocka_unit_test(test_frames_are_in_their_place),
        cmocka_unit_test(test_dropped_frames_move_nothing),
        cmocka_unit_test(test_leq),
        cmocka_unit_test(test_nothing),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
