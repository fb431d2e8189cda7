/* SPDX-License-Identifier: GPL-3.0-or-later */
/* Pitch. Oracles: closed forms of tones, slides, vibrato and leaps; brute force (a direct
 * transform, all paths of a chain); reversal in time, which a frame's window must not notice;
 * voices made of single pulses. */
#include "base/array.h"
#include "base/note.h"
#include "voice/heterodyne.h"
#include "voice/octave.h"
#include "voice/path.h"
#include "voice/pitch.h"
#include "voice/voicing.h"

#include <complex.h>
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

enum { RATE = 16000, HOP = RATE / 200 };
#define HOP_S 0.005

static double dice(uint32_t *seed)
{
    *seed = *seed * 1664525u + 1013904223u;
    return *seed / 4294967296.0 - 0.5;
}

/* Near enough to the normal law: the sum of twelve even draws. */
static double normal(uint32_t *seed)
{
    double sum = 0;
    for (int i = 0; i < 12; i++)
        sum += dice(seed);
    return sum;
}

typedef struct heard {
    size_t n;
    double *st, *voicing;
    unsigned char *doubled;
} heard;

static heard hear(const float *x, size_t samples)
{
    heard h = {.n = samples / HOP + 1};
    signal s = {.rate_hz = RATE, .n = samples, .x = (float *)x};
    pitch_settings settings = pitch_defaults();
    double *level_db = xmalloc(h.n, sizeof *level_db);
    for (size_t i = 0; i < h.n; i++) {
        double power = 0;
        for (long k = -400; k < 400; k++) {
            long at = (long)(i * HOP) + k;
            power += at >= 0 && at < (long)samples ? (double)x[at] * (double)x[at] / 800 : 0;
        }
        level_db[i] = 10 * log10(power);
    }
    h.st = xmalloc(h.n, sizeof *h.st);
    h.voicing = xmalloc(h.n, sizeof *h.voicing);
    h.doubled = xmalloc(h.n, sizeof *h.doubled);
    pitch_track(&s, HOP_S, h.n, level_db, &settings, h.st, h.voicing, h.doubled);
    free(level_db);
    return h;
}

static void heard_clear(heard *h)
{
    free(h->st);
    free(h->voicing);
    free(h->doubled);
}

typedef double contour(double time_s);

/* Harmonics of amplitude 1 / h up to 6 kHz, along a pitch in semitones. */
static float *sing(contour *pitch_st, double seconds)
{
    size_t n = (size_t)(seconds * RATE) / HOP * HOP + 1;
    float *x = xmalloc(n, sizeof *x);
    double phase = 0;
    for (size_t i = 0; i < n; i++) {
        double hz = note_to_hz(pitch_st((double)i / RATE)), sum = 0;
        for (int h = 1; h <= 16 && h * hz < 6000; h++)
            sum += sin(h * phase) / h;
        x[i] = (float)(0.2 * sum);
        phase += 2 * M_PI * note_to_hz(pitch_st(((double)i + 0.5) / RATE)) / RATE;
    }
    return x;
}

static size_t samples_of(double seconds)
{
    return (size_t)(seconds * RATE) / HOP * HOP + 1;
}

/* The mean of a pitch in Hz over 25 ms, as semitones. */
static double mean_st(contour *pitch_st, double time_s)
{
    double sum = 0;
    for (int k = 0; k < 250; k++)
        sum += note_to_hz(pitch_st(time_s + (k - 124.5) * 1e-4)) / 250;
    return note_from_hz(sum);
}

/* Worst distance, cents, from 60 ms inside the ends on; infinite when voice is missing. */
static double worst_cents(const heard *h, contour *pitch_st, bool mean)
{
    double worst = 0;
    for (size_t i = 12; i + 12 < h->n; i++) {
        double t = (double)i * HOP_S, want = mean ? mean_st(pitch_st, t) : pitch_st(t);
        double off = 100 * fabs(h->st[i] - want);
        worst = isnan(off) ? (double)INFINITY : fmax(worst, off);
    }
    return worst;
}

static double slide(double t)
{
    return 52 + 12 * t;
}
static double vibrato_5(double t)
{
    return 60 + sin(2 * M_PI * 5 * t);
}
static double vibrato_7(double t)
{
    return 67 + sin(2 * M_PI * 7 * t);
}

/* An octave a second: a stamp 1 ms off would be 1.2 cents off. Vibrato of a semitone to each side,
 * against its own mean over 25 ms: a stamp 1 ms off would be 4.4 cents off. */
static void test_stamp_is_the_centre(void **state)
{
    (void)state;
    static contour *const contours[] = {slide, vibrato_5, vibrato_7};
    static const double most[] = {0.3, 2, 3};
    for (int k = 0; k < 3; k++) {
        float *x = sing(contours[k], 1.5);
        heard h = hear(x, samples_of(1.5));
        double worst = worst_cents(&h, contours[k], true);
        print_message("contour %d: worst %.3f cents\n", k, worst);
        assert_true(worst < most[k]);
        heard_clear(&h);
        free(x);
    }
}

/* The same sound backwards has the same pitch backwards. */
static void test_reversal(void **state)
{
    (void)state;
    size_t n = samples_of(1.5);
    float *x = sing(vibrato_7, 1.5), *y = xmalloc(n, sizeof *y);
    for (size_t i = 0; i < n; i++)
        y[i] = x[n - 1 - i];
    heard a = hear(x, n), b = hear(y, n);
    double worst = 0;
    for (size_t i = 12; i + 12 < a.n; i++)
        worst = fmax(worst, 100 * fabs(a.st[i] - b.st[a.n - 1 - i]));
    print_message("reversed: worst %.4f cents\n", worst);
    assert_true(worst < 0.5); /* 0.1 ms of the vibrato's steepest slope, 44 cents in 10 ms */
    heard_clear(&a);
    heard_clear(&b);
    free(x);
    free(y);
}

static double steady_st;
static double steady(double t)
{
    (void)t;
    return steady_st;
}

/* No pitch is favoured: the mean over half a second is the tone's own. */
static void test_no_bias(void **state)
{
    (void)state;
    double worst = 0;
    for (int k = 0; k < 40; k++) {
        steady_st = note_from_hz(57) + k * (note_from_hz(1480) - note_from_hz(57)) / 39;
        float *x = sing(steady, 0.6);
        heard h = hear(x, samples_of(0.6));
        double sum = 0;
        size_t count = 0;
        for (size_t i = 14; i + 14 < h.n; i++, count++)
            sum += 100 * (h.st[i] - steady_st);
        double bias = fabs(sum / (double)count);
        worst = isnan(bias) ? (double)INFINITY : fmax(worst, bias);
        heard_clear(&h);
        free(x);
    }
    print_message("bias: worst %.4f cents of 40 pitches\n", worst);
    assert_true(worst < 0.1);
}

static double octave_leap(double t)
{
    double x = (t - 0.5) / 0.02 + 0.5;
    return 52 + 12 * (x < 0 ? 0 : x > 1 ? 1 : 0.5 - 0.5 * cos(M_PI * x));
}
static double octave_drop(double t)
{
    return octave_leap(1 - t);
}
static double yodel(double t)
{
    return t < 0.75 ? octave_drop(t) : octave_leap(t - 0.5);
}

/* An octave within 20 ms, up, down, and down for half a second: no octave is wrong, and what is off
 * by more than half a semitone lies within 15 ms of the middle. */
static void test_octave_in_20_ms(void **state)
{
    (void)state;
    static contour *const contours[] = {octave_leap, octave_drop, yodel};
    for (int k = 0; k < 3; k++) {
        float *x = sing(contours[k], 1.5);
        heard h = hear(x, samples_of(1.5));
        double late = 0;
        for (size_t i = 12; i + 12 < h.n; i++) {
            double t = (double)i * HOP_S, off = fabs(h.st[i] - contours[k](t));
            double away = fmin(fabs(t - 0.5), k == 2 ? fabs(t - 1) : 1);
            if (!(off <= 0.5))
                late = fmax(late, away);
            assert_int_equal(h.doubled[i], 0);
        }
        print_message("octave %d: off until %.0f ms from the middle\n", k, 1000 * late);
        assert_true(late <= 0.0151);
        heard_clear(&h);
        free(x);
    }
}

/* White noise as strong as a thirtieth of the voice's power. */
static void test_15_db(void **state)
{
    (void)state;
    uint32_t seed = 3;
    size_t n = samples_of(3), gross = 0, count = 0;
    double sum = 0, voice = 0;
    float *x = sing(vibrato_5, 3);
    for (size_t i = 0; i < n; i++)
        voice += (double)x[i] * (double)x[i] / (double)n;
    for (size_t i = 0; i < n; i++)
        x[i] += (float)(sqrt(voice) * pow(10, -15 / 20.0) * normal(&seed));
    heard h = hear(x, n);
    for (size_t i = 12; i + 12 < h.n; i++, count++) {
        double off = 100 * fabs(h.st[i] - vibrato_5((double)i * HOP_S));
        gross += off <= 50 ? 0 : 1;
        sum += gross ? 0 : off;
    }
    print_message("15 dB: %zu gross of %zu, mean %.2f cents\n", gross, count, sum / (double)count);
    assert_int_equal(gross, 0);
    assert_true(sum / (double)count < 5);
    heard_clear(&h);
    free(x);
}

/* One harmonic 25 dB over every other, or the fourth 20 dB, as where the first formant of O or U
 * meets it. */
static void test_one_harmonic_carries_all(void **state)
{
    (void)state;
    for (int strong = 1; strong <= 4; strong++) {
        size_t n = samples_of(0.6);
        float *x = xcalloc(n, sizeof *x);
        double weak = pow(10, (strong < 4 ? -25 : -20) / 20.0);
        for (size_t i = 0; i < n; i++)
            for (int h = 1; h <= 10; h++)
                x[i] += (float)(0.3 * (h == strong ? 1 : weak) *
                                cos(2 * M_PI * h * 180 * (double)i / RATE + h * h));
        steady_st = note_from_hz(180);
        heard h = hear(x, n);
        double worst = worst_cents(&h, steady, false);
        print_message("harmonic %d alone: worst %.2f cents\n", strong, worst);
        assert_true(worst < 5);
        heard_clear(&h);
        free(x);
    }
}

/* A path an octave over 520 Hz drops where there is a first harmonic, 15 dB under the second in
 * noise, and stays where there is none; one over 300 Hz stays all the same. */
static void test_octave_mended(void **state)
{
    (void)state;
    static const double first[] = {0.18, 0, 0.18}, hz[] = {520, 520, 300};
    size_t samples = samples_of(0.8), n = samples / HOP + 1;
    for (int k = 0; k < 3; k++) {
        uint32_t seed = 7;
        float *x = xmalloc(samples, sizeof *x);
        double *st = xmalloc(n, sizeof *st), high = note_from_hz(2 * hz[k]);
        for (size_t i = 0; i < samples; i++) {
            double phase = 2 * M_PI * hz[k] * (double)i / RATE;
            x[i] = (float)(0.2 * (first[k] * sin(phase) + sin(2 * phase) + 0.2 * normal(&seed)));
        }
        for (size_t i = 0; i < n; i++)
            st[i] = i < 10 ? (double)NAN : high;
        signal s = {.n = samples, .rate_hz = RATE, .x = x};
        octave_mend(&s, HOP_S, n, st);
        for (size_t i = 10; i < n; i++)
            assert_true(fabs(st[i] - (k ? high : high - 12)) < 1e-9);
        assert_true(isnan(st[0]));
        free(st);
        free(x);
    }
}

/* Half a second an octave below, begun so or between two higher notes: lifted where it repeats at
 * half its period all along, as doubled periods do, and not where the second harmonic is the
 * stronger in three frames of four, as of a low note in a yodel. */
static void test_low_notes_are_no_doubled_periods(void **state)
{
    (void)state;
    enum { LOW = 100, HIGH = 60, MOST = HIGH + LOW + HIGH, BRIEF = 30, LONGEST = 240 };
    for (int k = 0; k < 4; k++) {
        bool between = k & 1, all = k & 2;
        double st[MOST], unexplained[MOST];
        unsigned char doubled[MOST] = {0}, halved[MOST] = {0};
        size_t n = 0, from = between ? HIGH : 0;
        for (; n < from + LOW + HIGH; n++) {
            bool low = n >= from && n < from + LOW;
            st[n] = low ? 55 : 67;
            halved[n] = low && (all || n % 4);
        }
        path p = {st, unexplained, doubled, halved};
        path_lift_doubling(&p, n, BRIEF, LONGEST);
        for (size_t i = 0; i < n; i++) {
            assert_true(st[i] == (!all && i >= from && i < from + LOW ? 55 : 67));
            assert_int_equal(doubled[i], all && i >= from && i < from + LOW);
        }
    }
}

/* What rises over 700 Hz and falls again without a leap stays, though there is a line at half. */
static void test_no_octave_mended_at_the_border(void **state)
{
    (void)state;
    size_t samples = samples_of(0.8), n = samples / HOP + 1;
    float *x = xmalloc(samples, sizeof *x);
    double *st = xmalloc(n, sizeof *st), phase = 0;
    for (size_t i = 0; i < samples; i++) {
        double hz = 690 + 30 * sin(M_PI * (double)i / (double)samples);
        phase += 2 * M_PI * hz / RATE;
        x[i] = (float)(0.2 * (sin(phase) + 0.1 * sin(phase / 2)));
    }
    for (size_t i = 0; i < n; i++)
        st[i] = note_from_hz(690 + 30 * sin(M_PI * (double)(i * HOP) / (double)samples));
    signal s = {.n = samples, .rate_hz = RATE, .x = x};
    octave_mend(&s, HOP_S, n, st);
    for (size_t i = 0; i < n; i++)
        assert_true(st[i] > note_from_hz(680));
    free(st);
    free(x);
}

/* Pulses through two resonances: one of strength[k] at each time. */
static void ring(float *x, size_t n, double at_s, double strength)
{
    static const double hz[] = {650, 1100}, wide_hz[] = {80, 90};
    size_t from = (size_t)ceil(at_s * RATE);
    for (size_t i = from; i < n && i < from + RATE / 20; i++) {
        double t = (double)i / RATE - at_s;
        for (int k = 0; k < 2; k++)
            x[i] += (float)(strength * exp(-M_PI * wide_hz[k] * t) * sin(2 * M_PI * hz[k] * t));
    }
}

static double low_glide(double t)
{
    double u = fmax(0, fmin(1, (t - 0.43) / 0.14));
    return 43 + 12 * u * u * (3 - 2 * u);
}

/* Every second pulse softer by `softer` from from_s to to_s. */
static float *double_periods(double hz, double seconds, double from_s, double to_s, double softer)
{
    size_t n = samples_of(seconds);
    float *x = xcalloc(n, sizeof *x);
    for (int k = 1; k / hz < seconds; k++) {
        bool within = k / hz >= from_s && k / hz < to_s;
        ring(x, n, k / hz, 0.3 * (within && k % 2 ? 1 - softer : 1));
    }
    return x;
}

/* A doubled period drops no octave for 120 ms, at the beginning, amid or at the end of a note, and
 * is flagged; what lasts for three seconds is a lower note. */
static void test_doubled_periods(void **state)
{
    (void)state;
    static const double from_s[] = {0, 0.4, 0.88}, to_s[] = {0.12, 0.52, 1};
    steady_st = note_from_hz(220);
    for (int k = 0; k < 3; k++)
        for (int soft = 0; soft < 2; soft++) {
            float *x = double_periods(220, 1, from_s[k], to_s[k], soft ? 0.9 : 0.5);
            heard h = hear(x, samples_of(1));
            double worst = 0;
            size_t flagged = 0, beyond = 0;
            for (size_t i = 6; i + 6 < h.n; i++) {
                double t = (double)i * HOP_S;
                bool within = t > from_s[k] - 0.02 && t < to_s[k] + 0.02;
                worst = fmax(worst, fabs(h.st[i] - steady_st));
                flagged += h.doubled[i] && within;
                beyond += h.doubled[i] && !within;
            }
            print_message("doubled %d %d: worst %.2f semitones, %zu frames flagged, %zu beyond\n",
                          k, soft, worst, flagged, beyond);
            assert_true(worst < 0.5);
            assert_true(flagged >= 12);
            assert_int_equal(beyond, 0);
            heard_clear(&h);
            free(x);
        }
    float *x = double_periods(220, 4, 0.5, 3.5, 0.9);
    heard h = hear(x, samples_of(4));
    assert_true(fabs(h.st[400] - (steady_st - 12)) < 0.5);
    assert_true(fabs(h.st[40] - steady_st) < 0.5);
    heard_clear(&h);
    free(x);
}

/* For 70 ms after a leap from 400 to 600 Hz only every third pulse has its full strength. */
static void test_tripled_periods_at_a_leap(void **state)
{
    (void)state;
    size_t n = samples_of(1);
    float *x = xcalloc(n, sizeof *x);
    double at = 0;
    for (int k = 0; at < 1; k++) {
        bool high = at >= 0.5, odd = high && at < 0.57 && k % 3;
        ring(x, n, at, 0.3 * (odd ? 0.25 : 1));
        at += 1 / (high ? 600.0 : 400.0);
    }
    heard h = hear(x, n);
    size_t flagged = 0;
    for (size_t i = 104; i < 180; i++) {
        assert_false(fabs(h.st[i] - note_from_hz(600)) >= 0.5);
        flagged += h.doubled[i];
    }
    assert_true(flagged >= 6 && flagged < 20);
    heard_clear(&h);
    free(x);
}

/* A soft voice goes over into loud pulses, four semitones lower, whose first makes a formant ring:
 * no voice is heard up there. */
static void test_ring_of_the_first_pulses(void **state)
{
    (void)state;
    size_t n = samples_of(1);
    float *x = xcalloc(n, sizeof *x);
    double soft_hz = 127, loud_hz = 100;
    for (size_t i = 0; i < n / 2; i++)
        x[i] = (float)(0.02 * sin(2 * M_PI * soft_hz * (double)i / RATE));
    for (int k = 0; k < 50; k++)
        for (size_t i = n / 2 + (size_t)(k * RATE / loud_hz); i < n; i++) {
            double t = (double)i / RATE - 0.5 - k / loud_hz;
            x[i] += (float)(0.3 * exp(-M_PI * 60 * t) * sin(2 * M_PI * 960 * t));
        }
    heard h = hear(x, n);
    for (size_t i = 10; i < 190; i++)
        assert_false(h.st[i] > note_from_hz(soft_hz) + 1);
    assert_true(fabs(h.st[80] - note_from_hz(soft_hz)) < 0.5);
    assert_true(fabs(h.st[120] - note_from_hz(loud_hz)) < 0.5);
    heard_clear(&h);
    free(x);
}

/* 150 ms of pulses that come as they like before the voice settles: what follows is not drawn into
 * them, and from 30 ms on it is right. */
static void test_creaky_onset(void **state)
{
    (void)state;
    for (uint32_t seed = 1; seed <= 8; seed++) {
        uint32_t own = seed;
        size_t n = samples_of(0.8);
        float *x = xcalloc(n, sizeof *x);
        double at = 0.05;
        while (at < 0.2) {
            ring(x, n, at, 0.15 * (1 + dice(&own)));
            at += 0.012 * (1 + 0.8 * dice(&own));
        }
        for (; at < 0.8; at += 1 / 150.0)
            ring(x, n, at, 0.3);
        heard h = hear(x, n);
        for (size_t i = 47; i + 12 < h.n; i++)
            if (!(fabs(h.st[i] - note_from_hz(150)) < 0.5))
                fail_msg("seed %u: %.2f semitones at %.3f s", seed, h.st[i], (double)i * HOP_S);
        heard_clear(&h);
        free(x);
    }
}

/* A low voice, pulses through two resonances, glides by an octave within 140 ms, up and down: no
 * two stretches of it are alike, and yet the pitch is its own, within 60 cents (5 ms where it is
 * steepest), not that at which a resonance rings between two pulses. */
static void test_glide_of_a_low_voice(void **state)
{
    (void)state;
    const size_t n = samples_of(1);
    for (int down = 0; down < 2; down++) {
        float *x = xcalloc(n, sizeof *x);
        double worst = 0;
        for (double t = 0; t < 1; t += 1 / note_to_hz(low_glide(down ? 1 - t : t)))
            ring(x, n, t, 0.2);
        heard h = hear(x, n);
        for (size_t i = 20; i + 20 < h.n; i++) {
            double t = (double)i * HOP_S, off = fabs(h.st[i] - low_glide(down ? 1 - t : t));
            worst = isnan(off) ? (double)INFINITY : fmax(worst, off);
        }
        print_message("glide %d: worst %.0f cents\n", down, 100 * worst);
        assert_true(worst <= 0.6);
        heard_clear(&h);
        free(x);
    }
}

/* What a room with a reverberation of 0.6 s holds of a tone that has ended repeats as well as the
 * tone, and is voice no longer than 280 ms (by clearness alone 315); a voice that grows softer by
 * 25 dB a second goes on. */
static void test_echo(void **state)
{
    (void)state;
    uint32_t seed = 7;
    size_t n = samples_of(2);
    steady_st = 57;
    float *x = sing(steady, 2), *soft = sing(steady, 2);
    for (size_t i = 0; i < n; i++) {
        double after = fmax(0, (double)i / RATE - 1);
        x[i] *= (float)pow(10, -60 / 0.6 * after / 20);
        soft[i] *= (float)pow(10, -25 * after / 20);
        float hiss = (float)(0.006 * normal(&seed));
        x[i] += hiss;
        soft[i] += hiss;
    }
    heard echo = hear(x, n), goes_on = hear(soft, n);
    size_t last = 0;
    for (size_t i = 0; i < echo.n; i++)
        last = isnan(echo.st[i]) ? last : i;
    print_message("echo: voice until %.0f ms\n", 1000 * ((double)last * HOP_S - 1));
    assert_true((double)last * HOP_S >= 1 && (double)last * HOP_S <= 1.28);
    for (size_t i = 12; i + 12 < goes_on.n; i++)
        assert_true(goes_on.voicing[i] > 0.9);
    heard_clear(&echo);
    heard_clear(&goes_on);
    free(x);
    free(soft);
}

/* Silence and noise are no voice, and a tone is. */
static void test_probability(void **state)
{
    (void)state;
    uint32_t seed = 5;
    size_t n = samples_of(1);
    steady_st = 57;
    float *x = sing(steady, 1), *noise = xmalloc(n, sizeof *noise);
    for (size_t i = 0; i < n; i++)
        noise[i] = (float)(0.1 * normal(&seed));
    heard tone = hear(x, n), hiss = hear(noise, n);
    double least = 1, most = 0;
    for (size_t i = 12; i + 12 < tone.n; i++) {
        least = fmin(least, tone.voicing[i]);
        most = fmax(most, hiss.voicing[i]);
    }
    print_message("voice: tone at least %.4f, noise at most %.4f\n", least, most);
    assert_true(least > 0.99);
    assert_true(most < 0.2);
    heard_clear(&tone);
    heard_clear(&hiss);
    free(x);
    free(noise);
}

/* Against all 2^10 paths. */
static void test_voicing_chain(void **state)
{
    (void)state;
    enum { N = 10 };
    double odds[N], got[N], voiced[N] = {0}, all = 0, change = 0.07;
    uint32_t seed = 9;
    for (int i = 0; i < N; i++)
        odds[i] = 6 * dice(&seed);
    for (unsigned code = 0; code < 1u << N; code++) {
        double weight = 1;
        for (int i = 0; i < N; i++) {
            bool now = code >> i & 1, before = i && (code >> (i - 1) & 1);
            weight *= now ? exp(odds[i]) : 1;
            weight *= i == 0 ? 0.5 : now == before ? 1 - change : change;
        }
        all += weight;
        for (int i = 0; i < N; i++)
            voiced[i] += code >> i & 1 ? weight : 0;
    }
    voicing_chain(odds, N, change, got);
    double worst = 0;
    for (int i = 0; i < N; i++)
        worst = fmax(worst, fabs(got[i] - voiced[i] / all));
    print_message("chain: worst %.1e\n", worst);
    assert_true(worst < 1e-12);
    voicing_chain(odds, 0, change, got);
}

/* A held note whose mouth closes: a formant that falls turns the first harmonic by half a cycle in
 * 20 ms about 0.5 s; at 0.8 s the voice fades within 20 ms, and a formant that it set ringing, 1.5
 * semitones over the nearest harmonic, dies away at a bandwidth of 60 Hz. The pitch stays. */
static void test_closing_mouth(void **state)
{
    (void)state;
    const double hz = 200, end_s = 0.8, fade_s = 0.02, ring_hz = 3 * hz * exp2(1.5 / 12);
    size_t n = samples_of(1);
    float *x = xmalloc(n, sizeof *x);
    for (size_t i = 0; i < n; i++) {
        double t = (double)i / RATE, gate = fmax(0, fmin(1, (end_s - t) / fade_s)), sum = 0;
        double turned = M_PI * fmax(0, fmin(1, (t - 0.49) / 0.02));
        for (int h = 1; h <= 16; h++)
            sum += gate * sin(2 * M_PI * h * hz * t - (h == 1 ? turned : 0)) / h;
        double late = t - (end_s - fade_s);
        if (late > 0)
            sum +=
                0.5 * fmin(1, late / 0.005) * exp(-M_PI * 60 * late) * sin(2 * M_PI * ring_hz * t);
        x[i] = (float)(0.2 * sum);
    }
    heard h = hear(x, n);
    double turn = 0, fade = 0;
    for (size_t i = 20; i < 157; i++)
        turn = fmax(turn, 100 * fabs(h.st[i] - note_from_hz(hz)));
    for (size_t i = 157; i < 160; i++)
        fade = fmax(fade, 100 * fabs(h.st[i] - note_from_hz(hz)));
    print_message("closing mouth: worst %.1f cents while it turns, %.1f in the fade\n", turn, fade);
    assert_true(turn < 5);
    assert_true(fade < 10);
    heard_clear(&h);
    free(x);
}

/* Half harmonics 1..n_lines in the middle of noise, along a pitch that slides, against the sum
 * itself: the worst error. */
static double worst_line(int n_lines)
{
    enum { N = RATE / 2, FRAMES = 101, FRAME = 50 };
    float *x = xmalloc(N, sizeof *x);
    double hz[FRAMES], phase = 0;
    uint32_t seed = 4;
    for (int i = 0; i < N; i++)
        x[i] = (float)dice(&seed);
    for (int i = 0; i < FRAMES; i++)
        hz[i] = i % 7 ? 150 + 2 * i : (double)NAN;
    for (int i = 0; i < FRAMES; i += 7)
        hz[i] = i ? hz[i - 1] : hz[1];
    signal s = {.rate_hz = RATE, .n = N, .x = x};
    heterodyne *h = heterodyne_new(&s, HOP_S, FRAMES, n_lines);
    assert_true(heterodyne_follow(h, hz));
    float complex line[HETERODYNE_MOST];
    heterodyne_lines(h, FRAME, (heterodyne_window){0.03, 4}, n_lines, line);
    double complex sum[HETERODYNE_MOST] = {0};
    double worst = 0, weights = 0;
    for (int i = 0; i < N; i++) {
        double at = (double)i / HOP, share = at - floor(at);
        int f = (int)at, k = i - FRAME * HOP;
        double w = abs(k) <= 240 ? 1 + cos(M_PI * k / 241) : 0;
        double half_turn =
            M_PI * (hz[f] + share * (hz[f + 1 < FRAMES ? f + 1 : f] - hz[f])) / RATE / 2;
        phase += half_turn;
        weights += w;
        for (int q = 0; q < n_lines && w > 0; q++)
            sum[q] += w * (double)x[i] * cexp(-I * ((q + 1) * phase));
        phase += half_turn;
    }
    for (int q = 0; q < n_lines; q++)
        worst = fmax(worst, fabs(cabs(sum[q]) / weights - (double)cabsf(line[q])));
    for (int i = 0; i < FRAMES; i++)
        hz[i] = (double)NAN;
    assert_false(heterodyne_follow(h, hz));
    heterodyne_free(h);
    free(x);
    return worst;
}

static void test_heterodyne(void **state)
{
    (void)state;
    double all = worst_line(HETERODYNE_MOST), few = worst_line(17);
    print_message("lines: worst %.1e, of few %.1e, of noise of 0.29\n", all, few);
    assert_true(all < 2e-6 && few < 2e-6);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(test_stamp_is_the_centre),
        cmocka_unit_test(test_reversal),
        cmocka_unit_test(test_no_bias),
        cmocka_unit_test(test_octave_in_20_ms),
        cmocka_unit_test(test_15_db),
        cmocka_unit_test(test_one_harmonic_carries_all),
        cmocka_unit_test(test_doubled_periods),
        cmocka_unit_test(test_ring_of_the_first_pulses),
        cmocka_unit_test(test_creaky_onset),
        cmocka_unit_test(test_glide_of_a_low_voice),
        cmocka_unit_test(test_echo),
        cmocka_unit_test(test_low_notes_are_no_doubled_periods),
        cmocka_unit_test(test_octave_mended),
        cmocka_unit_test(test_no_octave_mended_at_the_border),
        cmocka_unit_test(test_tripled_periods_at_a_leap),
        cmocka_unit_test(test_probability),
        cmocka_unit_test(test_voicing_chain),
        cmocka_unit_test(test_closing_mouth),
        cmocka_unit_test(test_heterodyne),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
