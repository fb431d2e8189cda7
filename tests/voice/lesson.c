/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/lesson.h"

#include "base/array.h"
#include "voice/dice.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#define TALK_PEAK 0.3 /* takes have 0.13-0.5 */

typedef struct maker {
    lesson *l;
    gsl_rng *r;
    const sound *talk;
    size_t talk_at;
    double talk_peak;
} maker;

/* `seconds` of silence at the end of the lesson; where they begin. */
static size_t extend(maker *m, double seconds)
{
    sound *x = &m->l->x;
    size_t at = x->n, more = (size_t)(seconds * x->rate_hz);
    x->samples = xrealloc(x->samples, x->n + more, sizeof *x->samples);
    memset(x->samples + at, 0, more * sizeof *x->samples);
    x->n += more;
    return at;
}

typedef struct resonance {
    double y1, y2;
} resonance;

static double resonate(resonance *s, double x, double hz, double width_hz, double rate)
{
    double pole = exp(-M_PI * width_hz / rate), a = 2 * pole * cos(2 * M_PI * hz / rate);
    double y = (1 - pole) * x + a * s->y1 - pole * pole * s->y2;
    s->y2 = s->y1;
    return s->y1 = y;
}

/* A phrase of syllables: pulses through two moving resonances, pitch falling and leaping from one
 * to the next, consonants of noise, closures and nasals between them. */
static void say_phrase(maker *m)
{
    static const double vowels[][2] = {
        {700, 1200}, {400, 2000}, {300, 2300}, {500, 900}, {350, 800}};
    double rate = m->l->x.rate_hz, base = dice_between(m->r, 100, 230), phase = 0, at = 0;
    int syllables = dice_whole(m->r, 4, 14);
    resonance s1 = {0, 0}, s2 = {0, 0};
    double f1 = 500, f2 = 1500, loud = dice_between(m->r, 0.3, 1);
    for (int k = 0; k < syllables; k++) {
        const double *to = vowels[dice_whole(m->r, 0, 4)];
        double length = dice_between(m->r, 0.1, 0.28), gap = dice_between(m->r, 0.02, 0.1);
        bool nasal = dice_chance(m->r, 0.35), hiss = dice_chance(m->r, 0.4);
        double top = base * pow(2, (dice_between(m->r, -3, 4) - 4.0 * k / syllables) / 12);
        double slope = dice_between(m->r, -5, 2);
        size_t n = (size_t)((length + gap) * rate), from = extend(m, length + gap);
        for (size_t i = 0; i < n; i++) {
            double t = (double)i / rate, u = t / length, open = u < 1 ? sin(M_PI * fmin(1, u)) : 0;
            double voiced = u < 1 ? 0.25 + 0.75 * open : nasal ? 0.2 : 0;
            f1 += (to[0] - f1) / (0.04 * rate);
            f2 += (to[1] - f2) / (0.04 * rate);
            at += top * pow(2, slope * u / 12) / rate;
            double pulse = at - phase >= 1 ? 1 : 0;
            phase += pulse;
            double source = pulse * voiced * 30 + dice_normal(m->r, u >= 1 && hiss ? 0.6 : 0.02);
            double y = resonate(&s1, source, f1, 90, rate) + resonate(&s2, source, f2, 120, rate);
            m->l->x.samples[from + i] += 0.02 * loud * y;
        }
    }
}

static void talk(maker *m)
{
    int phrases = dice_whole(m->r, 1, 3);
    for (int k = 0; k < phrases; k++) {
        double seconds = dice_between(m->r, 1.5, 5);
        if (m->talk) {
            size_t at = extend(m, seconds);
            for (size_t i = at; i < m->l->x.n; i++)
                m->l->x.samples[i] =
                    TALK_PEAK / m->talk_peak * m->talk->samples[m->talk_at++ % m->talk->n];
        } else {
            say_phrase(m);
        }
        extend(m, dice_between(m->r, 0.3, 1));
    }
}

/* Struck strings: stretched partials, two decays each, a hammer's knock; alone, or a few in a
 * row. */
static void play_piano(maker *m)
{
    double rate = m->l->x.rate_hz, st = dice_between(m->r, 45, 72);
    int notes = dice_chance(m->r, 0.5) ? 1 : dice_whole(m->r, 2, 5);
    for (int k = 0; k < notes; k++) {
        double f0 = 440 * pow(2, (round(st) - 69) / 12), loud = dice_between(m->r, 0.05, 0.2);
        double seconds = k + 1 < notes ? dice_between(m->r, 0.4, 0.9) : dice_between(m->r, 1, 2.5);
        size_t from = extend(m, seconds);
        for (size_t i = from; i < m->l->x.n; i++) {
            double t = (double)(i - from) / rate, y = 0;
            for (int h = 1; h <= 9; h++) {
                double hz = h * f0 * sqrt(1 + 4e-4 * h * h);
                double decay = 0.7 * exp(-t * (2 + 0.6 * h)) + 0.3 * exp(-t * (0.5 + 0.2 * h));
                y += decay * sin(2 * M_PI * hz * t + h) / h;
            }
            y *= fmin(1, t * 500) * fmin(1, (seconds - t) * 30);
            m->l->x.samples[i] += loud * (y + 0.3 * dice_normal(m->r, exp(-t * 200)));
        }
        st += dice_whole(m->r, -4, 5);
    }
    extend(m, dice_between(m->r, 0.2, 1));
}

static void breathe(maker *m)
{
    size_t from = extend(m, 0.7);
    double size = dice_between(m->r, 0.002, 0.01);
    for (size_t i = from; i < m->l->x.n; i++) {
        double u = (double)(i - from) / (double)(m->l->x.n - from);
        m->l->x.samples[i] += dice_normal(m->r, size * sin(M_PI * u));
    }
}

static void sing_take(maker *m, const sound *take)
{
    size_t block = (size_t)m->l->x.rate_hz / 50, n = take->n / block, first = n, last = 0;
    double *power = xcalloc(n, sizeof *power), most = 0, start = (double)extend(m, 0);
    for (size_t b = 0; b < n; b++) {
        for (size_t i = b * block; i < (b + 1) * block; i++)
            power[b] += take->samples[i] * take->samples[i];
        most = fmax(most, power[b]);
    }
    for (size_t b = 0; b < n; b++)
        if (power[b] > most / 1000) {
            first = b < first ? b : first;
            last = b + 1;
        }
    size_t from = extend(m, (double)take->n / m->l->x.rate_hz);
    for (size_t i = from; i < m->l->x.n; i++)
        m->l->x.samples[i] += take->samples[i - from];
    m->l->takes[m->l->n++] = (lesson_take){(start + (double)(first * block)) / m->l->x.rate_hz,
                                           (start + (double)(last * block)) / m->l->x.rate_hz};
    free(power);
}

static void fill_until(maker *m, double seconds)
{
    while ((double)m->l->x.n < seconds * m->l->x.rate_hz) {
        extend(m, dice_between(m->r, 1, 4));
        talk(m);
        if (dice_chance(m->r, 0.3))
            play_piano(m);
    }
}

lesson lesson_make(int voice, const char *named, uint64_t seed, size_t n, double least_s,
                   int rate_hz, const sound *said)
{
    lesson l = {.x = {.rate_hz = rate_hz}, .takes = xcalloc(n, sizeof *l.takes)};
    maker m = {&l, dice_new(seed, 79, DICE_PLAN), said, 0, said ? fault_peak(said) : 1};
    extend(&m, 1);
    talk(&m);
    for (size_t k = 0; k < n; k++) {
        extend(&m, dice_between(m.r, 0.8, 2));
        if (!dice_chance(m.r, 0.33)) {
            if (dice_chance(m.r, 0.6))
                talk(&m);
            if (dice_chance(m.r, 0.6))
                play_piano(&m);
        }
        if (dice_chance(m.r, 0.5))
            breathe(&m);
        sound take = fault_free_take(voice, named, seed, (int)k, rate_hz);
        double scale = 0.5 / fault_peak(&take) * pow(10, dice_between(m.r, -12, 0) / 20);
        for (size_t i = 0; i < take.n; i++)
            take.samples[i] *= scale;
        sing_take(&m, &take);
        sound_clear(&take);
        fill_until(&m, least_s * (double)(k + 1) / (double)n);
    }
    extend(&m, 1);
    gsl_rng_free(m.r);
    fault_room(&l.x, 0.4, 12, seed);
    fault_noise(&l.x, sound_rms(&l.x) * pow(10, -45 / 20.0), seed);
    return l;
}

void lesson_clear(lesson *l)
{
    sound_clear(&l->x);
    free(l->takes);
    *l = (lesson){.n = 0};
}
