/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/planted.h"

#include "base/array.h"
#include "sound/weighting.h"

#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics.h>
#include <math.h>
#include <sndfile.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

void planted_scale(sound *x, double peak)
{
    double by = peak / fault_peak(x);
    for (size_t i = 0; i < x->n; i++)
        x->samples[i] *= by;
}

bool planted_check(const sound *x, int format, checkup *found, err *e)
{
    char path[] = "/tmp/planted-XXXXXX";
    recording_settings s = recording_defaults();
    SF_INFO info = {.samplerate = x->rate_hz, .channels = 1, .format = format};
    SNDFILE *f = sf_open_fd(mkstemp(path), SFM_WRITE, &info, SF_TRUE);
    bool fine = f != NULL;
    if (f) {
        sf_command(f, SFC_SET_CLIPPING, NULL, SF_TRUE);
        fine = sf_writef_double(f, x->samples, (sf_count_t)x->n) == (sf_count_t)x->n;
        fine = sf_close(f) == 0 && fine;
    }
    fine = fine ? checkup_recording(path, &s, found, e) : err_set(e, "%s is not written.", path);
    remove(path);
    return fine;
}

/* C-weighted mean squares of cells of 10 ms. */
static double *cells_of(const sound *x, size_t *n)
{
    size_t cell = (size_t)(x->rate_hz / 100);
    double *y = xmalloc(x->n, sizeof *y), *cells = xcalloc(x->n / cell + 1, sizeof *cells);
    weighting *c = weighting_new(WEIGHTING_C, x->rate_hz);
    memcpy(y, x->samples, x->n * sizeof *y);
    weighting_process(c, y, x->n);
    weighting_free(c);
    *n = x->n / cell;
    for (size_t i = 0; i < *n * cell; i++)
        cells[i / cell] += y[i] * y[i] / (double)cell;
    free(y);
    return cells;
}

double planted_softest(const sound *x)
{
    enum { HALF_SECOND = 50 };
    static const double sounds = 1e-4; /* of the loudest cell: the takes are far over it */
    size_t n, count = 0;
    double *cells = cells_of(x, &n), *means = xmalloc(n, sizeof *means), most = 0;
    for (size_t i = 0; i < n; i++)
        most = fmax(most, cells[i]);
    for (size_t i = 0; i + HALF_SECOND <= n; i++) {
        double sum = 0;
        for (size_t k = i; k < i + HALF_SECOND && !isnan(sum); k++)
            sum = cells[k] > sounds * most ? sum + cells[k] : (double)NAN;
        if (!isnan(sum))
            means[count++] = sum / HALF_SECOND;
    }
    gsl_sort(means, 1, count);
    double softest = gsl_stats_quantile_from_sorted_data(means, 1, count, 0.02);
    free(means);
    free(cells);
    return softest;
}

/* The softest tone is to be s dB over the noise, itself included, as it is measured. */
static void plant_noise_near(sound *x, double s)
{
    sound alone = {.n = (size_t)x->rate_hz, .rate_hz = x->rate_hz};
    alone.samples = xcalloc(alone.n, sizeof *alone.samples);
    fault_noise(&alone, 1, 3);
    size_t n;
    double *cells = cells_of(&alone, &n), weight = gsl_stats_mean(cells, 1, n);
    fault_noise(x, sqrt(planted_softest(x) / (pow(10, s / 10) - 1) / weight), 3);
    free(cells);
    sound_clear(&alone);
}

/* The same; hum has a fifth of its power at three times its frequency. */
static void plant_hum_near(sound *x, double hz, double s)
{
    double weight = 0.8 * pow(10, weighting_db(WEIGHTING_C, hz) / 10) +
                    0.2 * pow(10, weighting_db(WEIGHTING_C, 3 * hz) / 10);
    fault_hum(x, hz, sqrt(planted_softest(x) / (pow(10, s / 10) - weight)));
}

static void plant_hum50_near(sound *x, double s)
{
    plant_hum_near(x, 50, s);
}

static void plant_hum60_near(sound *x, double s)
{
    plant_hum_near(x, 60, s);
}

static void plant_clip(sound *x, double s)
{
    fault_clip(x, s);
}

static void plant_full(sound *x, double s)
{
    planted_scale(x, pow(10, s / 20));
}

static void plant_squash(sound *x, double s)
{
    fault_squash(x, s);
}

static void plant_dc(sound *x, double s)
{
    fault_dc(x, s);
}

static void plant_noise(sound *x, double s)
{
    fault_noise(x, sound_rms(x) * pow(10, -s / 20), 3);
}

static void plant_hum50(sound *x, double s)
{
    fault_hum(x, 50, sound_rms(x) * pow(10, -s / 20));
}

static void plant_hum60(sound *x, double s)
{
    fault_hum(x, 60, sound_rms(x) * pow(10, -s / 20));
}

static void plant_holes(sound *x, double s)
{
    fault_holes(x, 7, s / 1000);
}

static void plant_splices(sound *x, double s)
{
    fault_splices(x, 7, s / 1000);
}

static void plant_lowpass(sound *x, double s)
{
    fault_lowpass(x, s);
}

static void plant_gain(sound *x, double s)
{
    fault_gain(x, s, 1, 20);
}

static void plant_room(sound *x, double s)
{
    fault_room(x, s, 3, 4);
}

const planted planted_faults[] = {
    {"cut 1 dB under the peak", plant_clip, 1, CHECK_CLIPPING, 1, CHECK_FAIL},
    {"cut 2 dB under the peak", plant_clip, 2, CHECK_CLIPPING, 1, CHECK_FAIL},
    {"cut 6 dB under the peak", plant_clip, 6, CHECK_CLIPPING, 1, CHECK_FAIL},
    {"0.5 dB over full scale", plant_full, 0.5, CHECK_CLIPPING, 1, CHECK_FAIL},
    {"3 dB over full scale", plant_full, 3, CHECK_CLIPPING, 1, CHECK_FAIL},
    {"tanh, driven 4 times", plant_squash, 4, CHECK_CLIPPING, 1, CHECK_FAIL},
    {"tanh, driven 8 times", plant_squash, 8, CHECK_CLIPPING, 1, CHECK_FAIL},
    {"DC of 2 %", plant_dc, 0.02, CHECK_DC, 1, CHECK_WARN},
    {"DC of 20 %", plant_dc, 0.2, CHECK_DC, 1, CHECK_FAIL},
    {"noise 25 dB under", plant_noise, 25, CHECK_NOISE, 0.75, CHECK_WARN},
    {"noise 20 dB under", plant_noise, 20, CHECK_NOISE, 1, CHECK_WARN},
    {"noise 10 dB under", plant_noise, 10, CHECK_NOISE, 1, CHECK_FAIL},
    {"50 Hz 25 dB under", plant_hum50, 25, CHECK_HUM, 1, CHECK_WARN},
    {"50 Hz 20 dB under", plant_hum50, 20, CHECK_HUM, 1, CHECK_FAIL},
    {"60 Hz 25 dB under", plant_hum60, 25, CHECK_HUM, 1, CHECK_WARN},
    {"60 Hz 10 dB under", plant_hum60, 10, CHECK_HUM, 1, CHECK_FAIL},
    {"holes of 1.5 ms", plant_holes, 1.5, CHECK_DROPOUTS, 1, CHECK_FAIL},
    {"holes of 10 ms", plant_holes, 10, CHECK_DROPOUTS, 1, CHECK_FAIL},
    {"holes of 200 ms", plant_holes, 200, CHECK_DROPOUTS, 1, CHECK_FAIL},
    {"1 ms lost", plant_splices, 1, CHECK_DROPOUTS, 1, CHECK_FAIL},
    {"20 ms lost", plant_splices, 20, CHECK_DROPOUTS, 1, CHECK_FAIL},
    {"nothing above 3.4 kHz", plant_lowpass, 3400, CHECK_BAND, 1, CHECK_FAIL},
    {"nothing above 7 kHz", plant_lowpass, 7000, CHECK_BAND, 1, CHECK_WARN},
    {"nothing above 16 kHz", plant_lowpass, 16000, CHECK_BAND, 1, CHECK_WARN},
    {"gain of 1 : 0.8", plant_gain, 0.2, CHECK_GAIN, 1, CHECK_WARN},
    {"gain of 1 : 0.6", plant_gain, 0.4, CHECK_GAIN, 1, CHECK_FAIL},
    {"gain that levels all", plant_gain, 1, CHECK_GAIN, 1, CHECK_FAIL},
    {"room of 0.8 s", plant_room, 0.8, CHECK_ECHO, 0.75, CHECK_WARN},
    {"room of 2 s", plant_room, 2, CHECK_ECHO, 1, CHECK_FAIL},
};

const size_t n_planted_faults = sizeof planted_faults / sizeof *planted_faults;

const planted planted_near[] = {
    {"noise 15.5 dB under the softest tone", plant_noise_near, 15.5, CHECK_NOISE, 1, CHECK_PASS},
    {"noise 14.5 dB under it", plant_noise_near, 14.5, CHECK_NOISE, 1, CHECK_WARN},
    {"noise 10.5 dB under it", plant_noise_near, 10.5, CHECK_NOISE, 1, CHECK_WARN},
    {"noise 9.5 dB under it", plant_noise_near, 9.5, CHECK_NOISE, 1, CHECK_FAIL},
    {"50 Hz 15.5 dB under it", plant_hum50_near, 15.5, CHECK_HUM, 1, CHECK_PASS},
    {"50 Hz 14.5 dB under it", plant_hum50_near, 14.5, CHECK_HUM, 1, CHECK_WARN},
    {"50 Hz 10.5 dB under it", plant_hum50_near, 10.5, CHECK_HUM, 1, CHECK_WARN},
    {"50 Hz 9.5 dB under it", plant_hum50_near, 9.5, CHECK_HUM, 1, CHECK_FAIL},
    {"60 Hz 15.5 dB under it", plant_hum60_near, 15.5, CHECK_HUM, 1, CHECK_PASS},
    {"60 Hz 14.5 dB under it", plant_hum60_near, 14.5, CHECK_HUM, 1, CHECK_WARN},
    {"60 Hz 10.5 dB under it", plant_hum60_near, 10.5, CHECK_HUM, 1, CHECK_WARN},
    {"60 Hz 9.5 dB under it", plant_hum60_near, 9.5, CHECK_HUM, 1, CHECK_FAIL},
};

const size_t n_planted_near = sizeof planted_near / sizeof *planted_near;
