/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The folds' contact. Oracles: contact pulses of closed form (tests/voice/contact.h) whose
 * quotients are known, the closed form of a correlation in noise, and invariance: to polarity, to a
 * moving baseline, to the octave of the microphone's pitch, to blocks. */
#include "base/array.h"
#include "base/table.h"
#include "voice/contact.h"
#include "voice/egg.h"
#include "voice/files.h"
#include "voice/listen.h"

#include <gsl/gsl_randist.h>
#include <gsl/gsl_sort.h>
#include <gsl/gsl_statistics_double.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <cmocka.h>

#include "egg_take.h"

static const double rate_hz = 16000, hop_s = 0.005;
static const contact_pulse m1 = {0.08, 0.32, 0.25}, m2 = {0.22, 0.05, 0.28};

typedef struct made { /* two seconds of contact pulses */
    size_t n, frames;
    float *x;
    double *hz;
} made;

static made make(const contact_pulse *p, double hz)
{
    made m = {.n = 32000, .frames = 401};
    m.x = xmalloc(m.n, sizeof *m.x);
    m.hz = array_filled(m.frames, hz);
    for (size_t i = 0; i < m.n; i++) {
        double t = (double)i / rate_hz * hz;
        m.x[i] = (float)(0.1 * contact_at(p, t - floor(t)));
    }
    return m;
}

static void made_clear(made *m)
{
    free(m->x);
    free(m->hz);
}

static egg_frame *measured(const made *m, egg_way way)
{
    egg_frame *f = xmalloc(m->frames, sizeof *f);
    egg_measure(m->x, m->n, rate_hz, way, hop_s, m->hz, m->frames, f);
    return f;
}

typedef struct errors {
    double median, worst;
    size_t without; /* frames that have no quotient */
} errors;

static double value_of(const egg_frame *f, bool peaks)
{
    return (double)(peaks ? f->peaks_quotient : f->quotient);
}

/* Frames first..last - 1 against `want`; `worst` is the 95 % point. */
static errors off(const egg_frame *f, size_t first, size_t last, bool peaks, double want)
{
    errors e = {0, 0, 0};
    double *all = xmalloc(last - first, sizeof *all);
    size_t n = 0;
    for (size_t i = first; i < last; i++)
        if (isnan(value_of(&f[i], peaks)))
            e.without++;
        else
            all[n++] = fabs(value_of(&f[i], peaks) - want);
    gsl_sort(all, 1, n);
    e.median = n ? gsl_stats_quantile_from_sorted_data(all, 1, n, 0.5) : (double)NAN;
    e.worst = n ? gsl_stats_quantile_from_sorted_data(all, 1, n, 0.95) : (double)NAN;
    free(all);
    return e;
}

static void write_take(const char *name, int rate, double hz, const contact_pulse *p)
{
    write_voice(name, rate, hz, p, 0);
}

/* At every rate. The EGG is looked at at 16 kHz at most, or at a lower rate of the file. */
static void test_quotients_at_every_rate(void **state)
{
    (void)state;
    static const int rates[] = {8000, 11025, 16000, 22050, 44100, 48000, 96000};
    static const double pitches[] = {82.4, 196, 311, 523};
    for (size_t r = 0; r < sizeof rates / sizeof *rates; r++)
        for (size_t k = 0; k < sizeof pitches / sizeof *pitches; k++)
            for (int reg = 0; reg < 2; reg++) {
                const contact_pulse *p = reg ? &m2 : &m1;
                voice_settings s = voice_defaults();
                voice_whole whole;
                track *t;
                err e;
                write_take("build/test_egg.wav", rates[r], pitches[k], p);
                s.recording = (recording_settings){.channel = 1, .egg = 2};
                assert_true(voice_listen("build/test_egg.wav", &s, &t, &whole, &e));
                assert_true(whole.egg == 2 && whole.contact == EGG_UP);
                errors a = off(t->egg, 20, 180, false, contact_quotient(p));
                errors b = off(t->egg, 20, 180, true, contact_peaks(p));
                print_message("%5d Hz, %.0f Hz in M%d: quotient off by %.4f (95 %%: %.4f), by "
                              "peaks %.4f (%.4f)\n",
                              rates[r], pitches[k], reg + 1, a.median, a.worst, b.median, b.worst);
                /* A sample is pitch / rate of the period; peaks are told to a tenth of it, and the
                   bell of a fiftieth of a period pulls lopsided peaks. */
                double sample = pitches[k] / fmin(rates[r], 16000);
                assert_true(a.worst < 0.008 + 0.4 * sample && a.without == 0);
                assert_true(b.worst < 0.012 + 0.6 * sample && b.without == 0);
                track_free(t);
            }
}

static void add_noise(made *m, double snr_db, unsigned long seed)
{
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r, seed);
    double mean = 0, power = 0;
    for (size_t i = 0; i < m->n; i++)
        mean += (double)m->x[i] / (double)m->n;
    for (size_t i = 0; i < m->n; i++)
        power += ((double)m->x[i] - mean) * ((double)m->x[i] - mean) / (double)m->n;
    double sd = sqrt(power * pow(10, -snr_db / 10));
    for (size_t i = 0; i < m->n; i++)
        m->x[i] += (float)gsl_ran_gaussian(r, sd);
    gsl_rng_free(r);
}

/* Clarity in white noise is S / (S + N), the quotient stays near. */
static void test_noise(void **state)
{
    (void)state;
    static const double snrs[] = {30, 20, 12, 6}, most[] = {0.015, 0.025, 0.05, 0.12};
    for (size_t k = 0; k < sizeof snrs / sizeof *snrs; k++)
        for (int reg = 0; reg < 2; reg++) {
            const contact_pulse *p = reg ? &m2 : &m1;
            made m = make(p, reg ? 330 : 165);
            add_noise(&m, snrs[k], 7 + k);
            egg_frame *f = measured(&m, EGG_UP);
            errors e = off(f, 10, 390, false, contact_quotient(p));
            double clarity = 0, want = 1 / (1 + pow(10, -snrs[k] / 10));
            for (size_t i = 10; i < 390; i++)
                clarity += (double)f[i].clarity / 380;
            print_message("%.0f dB over noise, M%d: quotient off by %.4f (95 %%: %.4f), clarity "
                          "%.3f for %.3f\n",
                          snrs[k], reg + 1, e.median, e.worst, clarity, want);
            assert_true(e.median < most[k] / 2 && e.worst < most[k] && e.without < 4);
            assert_true(fabs(clarity - want) < 0.05);
            free(f);
            made_clear(&m);
        }
}

static void turn(made *m)
{
    for (size_t i = 0; i < m->n; i++)
        m->x[i] = -m->x[i];
}

static egg_way way_of(const made *m)
{
    egg_shape s = {.at = {{.n = 0}}};
    egg_shape_add(&s, m->x, m->n, rate_hz);
    return egg_shape_way(&s);
}

static void test_polarity(void **state)
{
    (void)state;
    for (int reg = 0; reg < 2; reg++)
        for (int snr_db = 6; snr_db <= 40; snr_db += 17) {
            made m = make(reg ? &m2 : &m1, reg ? 330 : 165);
            add_noise(&m, snr_db, 3);
            egg_frame *up = measured(&m, EGG_UP);
            assert_int_equal(way_of(&m), EGG_UP);
            turn(&m);
            egg_frame *down = measured(&m, EGG_DOWN);
            assert_int_equal(way_of(&m), EGG_DOWN);
            assert_memory_equal(up, down, m.frames * sizeof *up);
            free(up);
            free(down);
            made_clear(&m);
        }
}

/* A fifth of the recording is voice, the rest hum, which itself has a shape, the other way about,
 * and noise: the voice alone tells. */
static void test_polarity_among_pauses(void **state)
{
    (void)state;
    for (int reg = 0; reg < 2; reg++) {
        made m = make(reg ? &m2 : &m1, reg ? 330 : 165);
        for (size_t i = 0; i < m.n; i++) {
            double t = (double)i / rate_hz, hum = 0;
            for (int k = 1; k <= 5; k++)
                hum -= 0.0025 * cos(2 * M_PI * 100 * k * t);
            m.x[i] = (float)hum + (i < m.n / 5 ? m.x[i] : 0);
        }
        add_noise(&m, 20, 5);
        assert_int_equal(way_of(&m), EGG_UP);
        turn(&m);
        assert_int_equal(way_of(&m), EGG_DOWN);
        made_clear(&m);
    }
}

/* Falsetto in noise: the quotient stays where it is, in the middle of all frames, since periods are
 * averaged over 15 ms on either side. */
static void test_falsetto_in_noise(void **state)
{
    (void)state;
    static const double snrs[] = {12, 6, 3}, most[] = {0.015, 0.02, 0.04};
    for (size_t k = 0; k < 3; k++) {
        made m = make(&m2, 440);
        add_noise(&m, snrs[k], 7);
        egg_frame *f = measured(&m, EGG_UP);
        errors e = off(f, 20, 380, false, contact_quotient(&m2));
        print_message("falsetto, %.0f dB: quotient off by %.3f (95 %%: %.3f)\n", snrs[k], e.median,
                      e.worst);
        assert_true(e.median < most[k] && e.without < 4);
        free(f);
        made_clear(&m);
    }
}

/* What has no shape has no way, and then there is no quotient. */
static void test_no_polarity(void **state)
{
    (void)state;
    made m = make(&m1, 200);
    for (size_t i = 0; i < m.n; i++)
        m.x[i] = (float)(0.1 * sin(2 * M_PI * 200 * (double)i / rate_hz));
    assert_int_equal(way_of(&m), EGG_UNKNOWN);
    egg_frame *f = measured(&m, EGG_UNKNOWN);
    assert_true(isnan(f[200].quotient) && f[200].clarity > 0.99F);
    memset(m.x, 0, m.n * sizeof *m.x);
    assert_int_equal(way_of(&m), EGG_UNKNOWN);
    add_noise(&m, 0, 1);
    for (size_t i = 0; i < m.n; i++)
        m.x[i] = (float)sin((double)(i * i % 977));
    assert_int_equal(way_of(&m), EGG_UNKNOWN);
    free(f);
    made_clear(&m);
}

/* The larynx moves the baseline, by three times the contact, up to 3 Hz. */
static void test_moving_baseline(void **state)
{
    (void)state;
    for (int reg = 0; reg < 2; reg++) {
        const contact_pulse *p = reg ? &m2 : &m1;
        made m = make(p, reg ? 330 : 110);
        for (size_t i = 0; i < m.n; i++)
            m.x[i] += (float)(0.3 * sin(2 * M_PI * 3 * (double)i / rate_hz));
        assert_int_equal(way_of(&m), EGG_UP);
        egg_frame *f = measured(&m, EGG_UP);
        errors e = off(f, 10, 390, false, contact_quotient(p));
        print_message("moving baseline, M%d: quotient off by %.4f (95 %%: %.4f)\n", reg + 1,
                      e.median, e.worst);
        assert_true(e.worst < 0.03 && e.without == 0);
        free(f);
        made_clear(&m);
    }
}

/* The skin's contact is lost for half a second: noise alone, and a step of the baseline. */
static void test_lost_contact(void **state)
{
    (void)state;
    made m = make(&m1, 147), noise = make(&m1, 147);
    add_noise(&m, 30, 5);
    memset(noise.x, 0, noise.n * sizeof *noise.x);
    for (size_t i = 12000; i < 20000; i++)
        m.x[i] = (float)(0.4 + 0.003 * sin((double)(i * i % 1009)));
    egg_frame *f = measured(&m, EGG_UP);
    size_t usable = 0;
    for (size_t i = 155; i < 245; i++)
        usable += f[i].clarity >= EGG_USABLE;
    print_message("lost contact: %zu of 90 frames pass for usable\n", usable);
    assert_true(usable <= 2);
    for (size_t i = 10; i < 390; i++)
        if (i < 140 || i > 260)
            assert_true(f[i].clarity >= EGG_USABLE && !isnan(f[i].quotient));
    free(f);
    made_clear(&m);
    made_clear(&noise);
}

/* The microphone's pitch may be an octave off. */
static void test_wrong_octave(void **state)
{
    (void)state;
    static const double factors[] = {0.5, 2, 1.03};
    for (size_t k = 0; k < 3; k++)
        for (int reg = 0; reg < 2; reg++) {
            const contact_pulse *p = reg ? &m2 : &m1;
            made m = make(p, reg ? 400 : 131);
            for (size_t i = 0; i < m.frames; i++)
                m.hz[i] *= factors[k];
            egg_frame *f = measured(&m, EGG_UP);
            errors e = off(f, 20, 380, false, contact_quotient(p));
            print_message("pitch times %g, M%d: quotient off by %.4f (95 %%: %.4f), none in %zu\n",
                          factors[k], reg + 1, e.median, e.worst, e.without);
            assert_true(e.worst < 0.015 && e.without == 0);
            free(f);
            made_clear(&m);
        }
}

/* Cycles that differ in length by a fifth, as in a voice that breaks. */
static void test_irregular_cycles(void **state)
{
    (void)state;
    gsl_rng *r = gsl_rng_alloc(gsl_rng_mt19937);
    gsl_rng_set(r, 11);
    made m = make(&m1, 165);
    double start = 0, length = 1 / 165.0, sum = 0, n = 0;
    for (size_t i = 0; i < m.n; i++) {
        double t = (double)i / rate_hz;
        if (t >= start + length) {
            start += length;
            length = (1 + gsl_ran_flat(r, -0.2, 0.2)) / 165;
        }
        m.x[i] = (float)(0.1 * contact_at(&m1, (t - start) / length));
    }
    egg_frame *f = measured(&m, EGG_UP);
    errors e = off(f, 10, 390, false, contact_quotient(&m1));
    for (size_t i = 10; i < 390; i++)
        if (!isnan(f[i].quotient)) {
            sum += (double)f[i].quotient;
            n++;
        }
    print_message("irregular cycles: mean off by %.4f, frames by %.4f; none in %zu of 380\n",
                  sum / n - contact_quotient(&m1), e.median, e.without);
    /* Of a cycle from closure to closure, a part belongs to the next one's length. */
    assert_true(fabs(sum / n - contact_quotient(&m1)) < 0.03 && e.median < 0.06 && e.without < 40);
    free(f);
    made_clear(&m);
    gsl_rng_free(r);
}

/* Unvoiced frames, no sound, and voice beyond the end of the sound. */
static void test_nothing(void **state)
{
    (void)state;
    made m = make(&m1, 165);
    for (size_t i = 100; i < 200; i++)
        m.hz[i] = (double)NAN;
    egg_frame *f = measured(&m, EGG_UP);
    for (size_t i = 100; i < 200; i++)
        assert_true(isnan(f[i].quotient) && isnan(f[i].closing) && f[i].clarity <= 0);
    assert_true(!isnan(f[90].quotient) && !isnan(f[210].quotient));
    egg_measure(m.x, 100, rate_hz, EGG_UP, hop_s, m.hz, m.frames, f);
    for (size_t i = 3; i < m.frames; i++)
        assert_true(isnan(f[i].quotient) && f[i].clarity <= 0);
    egg_measure(m.x, 0, rate_hz, EGG_UP, hop_s, m.hz, 0, f);
    free(f);
    made_clear(&m);
}

/* A long take heard in blocks has the contact of the whole, whatever the way it counts. */
static void test_blocks(void **state)
{
    (void)state;
    enum { SECONDS = 25, RATE = 16000 };
    size_t n = (size_t)SECONDS * RATE;
    sound mic = {n, RATE, xcalloc(n, sizeof(double))}, egg = {n, RATE, xcalloc(n, sizeof(double))};
    double phase = 0, hz = 150;
    for (size_t i = 0; i < n; i++) {
        hz = 200 + 60 * sin(2 * M_PI * 0.3 * (double)i / RATE);
        phase += hz / RATE;
        for (int h = 1; h < 12; h++)
            mic.samples[i] += 0.1 / h * sin(2 * M_PI * h * phase);
        egg.samples[i] = 0.3 - 0.2 * contact_at(&m1, phase - floor(phase));
    }
    const sound *both[2] = {&egg, &mic};
    err e;
    assert_true(files_write_channels("build/test_egg-long.wav", both, 2, 24, &e));
    voice_settings s = voice_defaults();
    voice_whole one, many;
    track *whole, *parts;
    s.recording = (recording_settings){.channel = 2, .egg = 1};
    assert_true(voice_listen("build/test_egg-long.wav", &s, &whole, &one, &e));
    s.block_s = 10;
    assert_true(voice_listen("build/test_egg-long.wav", &s, &parts, &many, &e));
    assert_true(one.contact == EGG_DOWN && many.contact == EGG_DOWN && whole->n == parts->n);
    double worst = 0;
    for (size_t i = 20; i + 20 < whole->n; i++)
        worst = fmax(worst, fabs((double)whole->egg[i].quotient - (double)parts->egg[i].quotient));
    print_message("blocks: quotients differ by %.6f at most\n", worst);
    assert_true(worst < 1e-3);
    track_free(whole);
    track_free(parts);
    sound_clear(&mic);
    sound_clear(&egg);
}

/* Runs analyse, stdout and stderr into files. */
static table *analysed_of(const char *arguments)
{
    const char *program = getenv("SEAMLINE") ? getenv("SEAMLINE") : "build/seamline";
    char *command =
        xformat("%s analyse %s >build/test_egg.tsv 2>build/test_egg.err", program, arguments);
    table *t = NULL;
    err e;
    int code = system(command);
    free(command);
    if (code != 0 || !table_read("build/test_egg.tsv", &t, &e))
        fail_msg("analyse %s: status %d", arguments, code);
    return t;
}

/* Of the two-channel take. */
static table *analysed(const char *options)
{
    char *arguments = xformat("--microphone 1 --egg 2 %s build/test_egg.wav", options);
    table *t = analysed_of(arguments);
    free(arguments);
    return t;
}

static bool warned(void)
{
    char text[512] = "";
    FILE *f = fopen("build/test_egg.err", "r");
    assert_non_null(f);
    size_t n = fread(text, 1, sizeof text - 1, f);
    text[n] = '\0';
    fclose(f);
    return strstr(text, "--contact up") != NULL;
}

/* Columns and notes of analyse. */
static void test_command(void **state)
{
    (void)state;
    write_take("build/test_egg.wav", 44100, 220, &m2);
    table *t = analysed("--tracks");
    double value, sum = 0, n = 0;
    err e;
    assert_string_equal(table_note_value(t, "egg_contact"),
                        "counts upwards in 1, downwards in 0 of 1 takes with an EGG");
    assert_non_null(table_note_value(t, "egg_tells"));
    assert_true(table_column(t, "contact_closing") > 0 && table_column(t, "egg_clarity") > 0);
    for (size_t row = 20; row < 180; row++) {
        assert_true(table_value(t, row, table_column(t, "contact_quotient"), &value, &e));
        sum += value;
        n++;
    }
    assert_true(fabs(sum / n - contact_quotient(&m2)) < 0.005 && !warned());
    table_free(t);
    const contact_pulse even = {0.5, 0, 0.5}; /* a sine: neither way */
    write_take("build/test_egg.wav", 44100, 220, &even);
    t = analysed("--tracks");
    assert_true(warned());
    assert_string_equal(table_cell(t, 100, table_column(t, "contact_quotient")), "");
    table_free(t);
    t = analysed("--tracks --contact down");
    assert_true(!warned());
    assert_true(table_value(t, 100, table_column(t, "contact_quotient"), &value, &e));
    table_free(t);
}

/* A take whose EGG is not to be told from the microphone goes by another. */
static void test_electrodes_stay(void **state)
{
    (void)state;
    write_voice("build/test_egg.wav", 44100, 220, &m1, 12);
    write_voice("build/test_egg_2.wav", 44100, 220, &m1, 6);
    table *t = analysed_of("build/test_egg_2.wav");
    assert_null(table_note_value(t, "egg_channel"));
    table_free(t);
    t = analysed_of("build/test_egg.wav");
    assert_string_equal(table_note_value(t, "egg_channel"), "2");
    table_free(t);
    t = analysed_of("build/test_egg.wav build/test_egg_2.wav");
    assert_string_equal(table_note_value(t, "egg_channel"), "2");
    assert_string_equal(table_note_value(t, "egg_contact"),
                        "counts upwards in 2, downwards in 0 of 2 takes with an EGG");
    table_free(t);
    assert_int_equal(0, unlink("build/test_egg_2.wav"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_electrodes_stay),
        cmocka_unit_test(test_quotients_at_every_rate),
        cmocka_unit_test(test_noise),
        cmocka_unit_test(test_polarity),
        cmocka_unit_test(test_polarity_among_pauses),
        cmocka_unit_test(test_falsetto_in_noise),
        cmocka_unit_test(test_no_polarity),
        cmocka_unit_test(test_moving_baseline),
        cmocka_unit_test(test_lost_contact),
        cmocka_unit_test(test_wrong_octave),
        cmocka_unit_test(test_irregular_cycles),
        cmocka_unit_test(test_nothing),
        cmocka_unit_test(test_blocks),
        cmocka_unit_test(test_command),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
