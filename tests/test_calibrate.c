/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Calibration. Oracles: closed-form tones of known RMS, the curves of IEC 61672-1 at the exact
 * frequencies of its table, the free field's 20 lg of distances. */
#include "base/array.h"
#include "sound/calibration.h"

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

typedef struct tone {
    double hz, amplitude, seconds; /* with a second of silence before and after */
    double sway_db;                /* up and down at 2 Hz */
    double cut;                    /* largest sample */
    int rate_hz;
} tone;

static bool calibrated(const tone *t, const calibration_settings *s, calibration *out, err *e)
{
    char path[] = "build/test_calibrate-XXXXXX";
    size_t n = (size_t)((t->seconds + 2) * t->rate_hz);
    double *x = xcalloc(n, sizeof *x);
    for (size_t i = 0; i < n; i++) {
        double at = (double)i / t->rate_hz - 1;
        double db = t->sway_db * sin(2 * M_PI * 2 * at);
        if (at >= 0 && at < t->seconds)
            x[i] = t->amplitude * pow(10, db / 20) * sin(2 * M_PI * t->hz * at);
        x[i] = fmax(-t->cut, fmin(t->cut, x[i]));
    }
    SF_INFO info = {
        .samplerate = t->rate_hz, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    int fd = mkstemp(path);
    SNDFILE *f = sf_open_fd(fd, SFM_WRITE, &info, SF_TRUE);
    assert_non_null(f);
    assert_int_equal(sf_writef_double(f, x, (sf_count_t)n), n);
    sf_close(f);
    free(x);
    recording_settings r = recording_defaults();
    bool answer, fine = calibrate_recording(path, &r, s, out, &answer, e);
    assert_true(answer == fine); /* the file can be read */
    remove(path);
    return fine;
}

static double full_scale(const tone *t, const calibration_settings *s)
{
    calibration c;
    err e = {""};
    if (!calibrated(t, s, &c, &e))
        fail_msg("%s", e.text);
    return c.full_scale_db;
}

static void test_calibrator(void **state)
{
    (void)state;
    static const int rates[] = {8000, 44100, 48000, 192000};
    calibration_settings s = calibration_defaults();
    double worst = 0;
    for (size_t k = 0; k < 4; k++)
        for (double reads = 94; reads <= 114; reads += 20)
            for (double amplitude = 0.01; amplitude < 1; amplitude *= 7) {
                tone t = {1000, amplitude, 3, 0, 1, rates[k]};
                s.reads_db = reads;
                double want = reads - 20 * log10(amplitude * M_SQRT1_2);
                worst = fmax(worst, fabs(full_scale(&t, &s) - want));
            }
    printf("calibrator: at most %.3f dB off\n", worst);
    assert_true(worst < 0.02);
}

/* The meter read the weighted level; full scale is unweighted. */
static void test_weighting_of_the_meter(void **state)
{
    (void)state;
    calibration_settings s = calibration_defaults();
    double worst = 0;
    s.reads_db = 80;
    for (int c = 0; c < WEIGHTING_CURVES; c++)
        for (int n = -10; n <= 6; n++) {
            double hz = 1000 * pow(10, n / 10.0);
            tone t = {hz, 0.2, 3, 0, 1, 48000};
            s.curve = (weighting_curve)c;
            double want = 80 - 20 * log10(0.2 * M_SQRT1_2) - weighting_db(s.curve, hz);
            worst = fmax(worst, fabs(full_scale(&t, &s) - want));
        }
    printf("100 Hz to 4 kHz in A, C, Z: at most %.3f dB off\n", worst);
    assert_true(worst < 0.1); /* the filters' own error, docs/level.md; Z's high-pass 0.04 */
}

static void test_slow_and_distance(void **state)
{
    (void)state;
    calibration_settings s = calibration_defaults();
    tone t = {1000, 0.2, 6, 0, 1, 48000};
    s.reads_db = 94;
    double same = full_scale(&t, &s);
    s.speed = METER_SLOW;
    assert_true(fabs(full_scale(&t, &s) - same) < 0.01);
    s.meter_cm = 100; /* 10.46 dB more where the microphone is */
    assert_true(fabs(full_scale(&t, &s) - same - 10.4576) < 0.01);
}

static void refused(const tone *t, const calibration_settings *s, const char *why)
{
    calibration c;
    err e = {""};
    assert_false(calibrated(t, s, &c, &e));
    if (!strstr(e.text, why))
        fail_msg("\"%s\" does not say: %s", e.text, why);
}

static void test_refused(void **state)
{
    (void)state;
    calibration_settings s = calibration_defaults();
    s.reads_db = 94;
    refused(&(tone){1000, 0.2, 3, 2.2, 1, 48000}, &s, "not steady");
    refused(&(tone){1000, 0.2, 0.8, 0, 1, 48000}, &s, "stays level");
    refused(&(tone){1000, 0.4, 3, 0, 0.36, 48000}, &s, "clipped"); /* by 0.9 dB, under full scale */
    refused(&(tone){1000, 1.1, 3, 0, 1, 48000}, &s, "clipped");
    refused(&(tone){1000, 0, 3, 0, 1, 48000}, &s, "no sound");
    s.speed = METER_SLOW;
    refused(&(tone){1000, 0.2, 3, 0, 1, 48000}, &s, "stays level");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_calibrator),
        cmocka_unit_test(test_weighting_of_the_meter),
        cmocka_unit_test(test_slow_and_distance),
        cmocka_unit_test(test_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
