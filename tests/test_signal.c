/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A take at the working rate. Oracles: closed forms of a sine, a step and a click; the same sound
 * recorded at another rate is the same sound. */
#include "base/array.h"
#include "sound/signal.h"

#include <math.h>
#include <setjmp.h>
#include <sndfile.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

static const int rates[] = {8000, 11025, 16000, 22050, 44100, 48000, 96000, 192000};
enum { N_RATES = sizeof rates / sizeof *rates };

static signal hear(const double *x, size_t n, int rate)
{
    static const char path[] = "build/test_signal.wav";
    SF_INFO info = {.samplerate = rate, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_FLOAT};
    SNDFILE *f = sf_open(path, SFM_WRITE, &info);
    assert_non_null(f);
    assert_int_equal(sf_writef_double(f, x, (sf_count_t)n), n);
    sf_close(f);
    recording_settings s = recording_defaults();
    recording *r = NULL;
    signal out;
    err e = {""};
    if (!recording_open(path, &s, &r, &e) || !signal_read(r, &out, &e)) {
        print_error("%s\n", e.text);
        exit(1);
    }
    recording_close(r);
    remove(path);
    return out;
}

static double *sine(size_t n, int rate, double hz, double amplitude, double offset)
{
    double *x = xmalloc(n, sizeof *x);
    for (size_t i = 0; i < n; i++)
        x[i] = offset + amplitude * sin(2 * M_PI * hz * (double)i / rate);
    return x;
}

/* The first-order high-pass at 10 Hz moves a sine of 440 Hz by atan(10 / 440) = 1.3 degrees, which
 * is 0.023 of its amplitude; the rest is the resampler's. Ends of 50 ms are left out. */
static void test_a_sine_stays_in_place(void **state)
{
    (void)state;
    double worst = 0;
    for (size_t k = 0; k < N_RATES; k++) {
        size_t n = (size_t)rates[k];
        double *x = sine(n, rates[k], 440, 0.5, 0);
        signal s = hear(x, n, rates[k]);
        assert_true(s.rate_hz == fmin(rates[k], SIGNAL_RATE_HZ));
        assert_true(fabs((double)s.n - s.rate_hz) <= 1);
        assert_true(s.seconds == 1);
        for (size_t i = (size_t)(0.2 * s.rate_hz); i < (size_t)(0.95 * s.rate_hz); i++) {
            double want = 0.5 * sin(2 * M_PI * 440 * (double)i / s.rate_hz);
            worst = fmax(worst, fabs((double)s.x[i] - want));
        }
        signal_clear(&s);
        free(x);
    }
    print_message("worst error of a sine %.4f of its amplitude\n", worst / 0.5);
    assert_true(worst / 0.5 <= 0.025);
}

/* Mean square of a sine, A^2 / 2, whatever its offset; 0.01 dB. A cell of 1 ms holds 4 periods of
 * 4000 Hz, or at 11.025 and 22.05 kHz, where cells differ by one sample, the mean of all does. */
static void test_power_of_a_sine(void **state)
{
    (void)state;
    double worst = 0;
    for (size_t k = 0; k < N_RATES; k++) {
        size_t n = (size_t)rates[k], used = 0;
        double *x = sine(n, rates[k], rates[k] == 8000 ? 1000 : 4000, 0.5, 0.3), sum = 0;
        signal s = hear(x, n, rates[k]);
        assert_true(s.cell_s == 0.001);
        assert_int_equal(s.n_cells, 1000);
        for (size_t i = 500; i < s.n_cells; i++, used++)
            sum += (double)s.power[i];
        worst = fmax(worst, fabs(10 * log10(sum / (double)used / 0.125)));
        signal_clear(&s);
        free(x);
    }
    print_message("worst level of a sine %.4f dB off\n", worst);
    assert_true(worst <= 0.01);
}

/* Sound beyond the working rate's band is in the power and not in the samples: 12 kHz at -60 dB at
 * the least. */
static void test_band(void **state)
{
    (void)state;
    enum { RATE = 48000 };
    double *x = sine(RATE, RATE, 12000, 0.5, 0), most = 0;
    signal s = hear(x, RATE, RATE);
    for (size_t i = 1000; i + 1000 < s.n; i++)
        most = fmax(most, fabs((double)s.x[i]));
    print_message("12 kHz comes through at %.0f dB\n", 20 * log10(most / 0.5));
    assert_true(20 * log10(most / 0.5) < -60);
    assert_true(fabs((double)s.power[500] / 0.125 - 1) < 0.01);
    signal_clear(&s);
    free(x);
}

/* A click at half a second is the largest sample at half a second, and lies in the cell that
 * begins there. */
static void test_a_click_stays_in_place(void **state)
{
    (void)state;
    for (size_t k = 0; k < N_RATES; k++) {
        size_t n = (size_t)rates[k], at = n / 2, largest = 0, cell = 0;
        double *x = xcalloc(n, sizeof *x);
        x[at] = 0.9;
        signal s = hear(x, n, rates[k]);
        for (size_t i = 0; i < s.n; i++)
            if (fabs((double)s.x[i]) > fabs((double)s.x[largest]))
                largest = i;
        for (size_t i = 0; i < s.n_cells; i++)
            if (s.power[i] > s.power[cell])
                cell = i;
        double at_s = (double)at / rates[k];
        assert_true(fabs((double)largest / s.rate_hz - at_s) <= 0.5 / s.rate_hz + 1e-9);
        assert_true((double)cell * s.cell_s <= at_s + 1e-9 &&
                    at_s < (double)(cell + 1) * s.cell_s + 1e-9);
        signal_clear(&s);
        free(x);
    }
}

/* A step decays as exp(-2 pi 10 t): in 50 ms to exp(-pi). */
static void test_offset_goes(void **state)
{
    (void)state;
    enum { RATE = 48000 };
    double *x = sine(RATE, RATE, 440, 0, 0.5);
    signal s = hear(x, RATE, RATE);
    double ratio = (double)s.x[1600] / (double)s.x[800];
    print_message("offset after 50 ms more: %.5f of it, %.5f in theory\n", ratio, exp(-M_PI));
    assert_true(fabs(ratio - exp(-M_PI)) < 1e-3);
    assert_true(fabs(s.counts.dc - 0.5) < 1e-9);
    signal_clear(&s);
    free(x);
}

static void test_nothing_and_little(void **state)
{
    (void)state;
    double x[100] = {0.5, -0.5};
    for (size_t k = 0; k < N_RATES; k++) {
        signal s = hear(x, 0, rates[k]);
        assert_int_equal(s.n, 0);
        assert_int_equal(s.n_cells, 0);
        assert_true(s.seconds == 0);
        signal_clear(&s);
        s = hear(x, 1, rates[k]);
        assert_true(s.n <= 1);
        assert_int_equal(s.n_cells, 1);
        signal_clear(&s);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_a_sine_stays_in_place),
        cmocka_unit_test(test_power_of_a_sine),
        cmocka_unit_test(test_band),
        cmocka_unit_test(test_a_click_stays_in_place),
        cmocka_unit_test(test_offset_goes),
        cmocka_unit_test(test_nothing_and_little),
    };
    return cmocka_run_group_tests_name("signal", tests, NULL, NULL);
}
