/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice2/render.h"

#include "base/array.h"
#include "voice2/chance.h"

#include <gsl/gsl_fft_halfcomplex.h>
#include <gsl/gsl_fft_real.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#define SOUND_M_S 343.0
#define ECHO_S 0.35 /* images further away are left out */

/* A box of a room with a singer and a microphone (Allen & Berkley 1979, JASA 65:943, from memory):
 * each image is one pulse, its walls' losses as a factor and as a dulling. */
typedef struct shoebox {
    double size_m[3], singer_m[3], mic_m[3];
    double keep; /* share of pressure that a wall sends back */
} shoebox;

static shoebox shoebox_draw(gsl_rng *r)
{
    static const double least[3] = {2.6, 2.2, 2.2}, most[3] = {6.5, 4.5, 3.2};
    shoebox b;
    double reach = chance_in(r, 0.3, 0.8), angle = chance_in(r, 0, 2 * M_PI);
    for (int i = 0; i < 3; i++) {
        b.size_m[i] = chance_in(r, least[i], most[i]);
        b.singer_m[i] = b.size_m[i] * chance_in(r, 0.35, 0.65);
        b.mic_m[i] = b.singer_m[i];
    }
    b.mic_m[0] += reach * cos(angle);
    b.mic_m[1] += reach * sin(angle);
    b.keep = sqrt(1 - chance_in(r, 0.15, 0.5));
    return b;
}

/* A band-limited pulse at a time between samples: from one to the next the sinc's sine turns by
 * half a circle and the window's cosine by 1 / REACH of that. */
static void pulse_add(double *h, size_t n, double at, double amplitude)
{
    enum { REACH = 12 };
    const double twice = 2 * cos(M_PI / REACH);
    long centre = lround(at);
    double x = (double)(centre - REACH) - at, wave = sin(M_PI * x) / M_PI;
    double bell = cos(M_PI * x / REACH), before = cos(M_PI * (x - 1) / REACH);
    for (long i = centre - REACH; i <= centre + REACH; i++) {
        x = (double)i - at;
        double sinc = fabs(x) < 1e-9 ? 1 : wave / x, next = twice * bell - before;
        if (i >= 0 && (size_t)i < n && fabs(x) < REACH)
            h[i] += amplitude * sinc * (0.5 + 0.5 * bell);
        wave = -wave;
        before = bell;
        bell = next;
    }
}

/* Coordinate of image i along one axis, and the number of walls that it took. */
static double image(const shoebox *b, int axis, int i, int *walls)
{
    *walls = abs(i);
    double size = b->size_m[axis], at = b->singer_m[axis];
    return i % 2 == 0 ? i * size + at : (i + 1) * size - at;
}

/* Everything but the direct sound, the direct sound at sample 0. */
static void echoes(const shoebox *b, double rate_hz, double *h, size_t n)
{
    int most[3];
    double direct = 0;
    for (int i = 0; i < 3; i++) {
        most[i] = (int)(ECHO_S * SOUND_M_S / b->size_m[i]) + 1;
        direct += (b->mic_m[i] - b->singer_m[i]) * (b->mic_m[i] - b->singer_m[i]);
    }
    direct = sqrt(direct);
    for (int i = -most[0]; i <= most[0]; i++)
        for (int j = -most[1]; j <= most[1]; j++)
            for (int k = -most[2]; k <= most[2]; k++) {
                int wx, wy, wz;
                double x = image(b, 0, i, &wx) - b->mic_m[0];
                double y = image(b, 1, j, &wy) - b->mic_m[1];
                double z = image(b, 2, k, &wz) - b->mic_m[2];
                double way = sqrt(x * x + y * y + z * z) - direct;
                double at = way / SOUND_M_S * rate_hz;
                if (wx + wy + wz > 0 && at < (double)n)
                    pulse_add(h, n, at, direct / (way + direct) * pow(b->keep, wx + wy + wz));
            }
}

/* Highs are lost at walls and in the air: the tail is dulled, the more the later. */
static void dull(double *h, size_t n, double rate_hz)
{
    double y = 0;
    for (size_t i = 0; i < n; i++) {
        double corner = 9000 / (1 + 12 * (double)i / (double)n),
               a = exp(-2 * M_PI * corner / rate_hz);
        y = a * y + (1 - a) * h[i];
        h[i] = y;
    }
}

static void convolve(const double *h, size_t n_h, double *x, size_t n)
{
    size_t size = 1;
    while (size < n + n_h)
        size *= 2;
    double *a = xcalloc(size, sizeof *a), *b = xcalloc(size, sizeof *b);
    memcpy(a, x, n * sizeof *a);
    memcpy(b, h, n_h * sizeof *b);
    gsl_fft_real_radix2_transform(a, 1, size);
    gsl_fft_real_radix2_transform(b, 1, size);
    a[0] *= b[0];
    a[size / 2] *= b[size / 2];
    for (size_t i = 1; i < size / 2; i++) { /* half-complex: i real, size - i imaginary */
        double re = a[i] * b[i] - a[size - i] * b[size - i];
        a[size - i] = a[i] * b[size - i] + a[size - i] * b[i];
        a[i] = re;
    }
    gsl_fft_halfcomplex_radix2_inverse(a, 1, size);
    memcpy(x, a, n * sizeof *x);
    free(a);
    free(b);
}

static void room(const vocalist *v, clip *c)
{
    gsl_rng *r = chance_new(cast_get(v->family, v->woman).name, v->seed, 0, "room");
    shoebox b = shoebox_draw(r);
    size_t n = (size_t)(ECHO_S * c->rate_hz);
    double *h = xcalloc(n, sizeof *h), power = 0;
    echoes(&b, c->rate_hz, h, n);
    dull(h, n, c->rate_hz);
    for (size_t i = 0; i < n; i++)
        power += h[i] * h[i];
    double scale = pow(10, -v->direct_db / 20) / sqrt(power);
    for (size_t i = 0; i < n; i++)
        h[i] *= scale;
    h[0] += 1;
    convolve(h, n, c->samples, c->n);
    free(h);
    gsl_rng_free(r);
}

/* Pink within 1 dB from 30 Hz to half the rate: white noise through poles an octave apart, each
 * taking 3 dB less than the one below. Not yet of any level. */
static void pink(gsl_rng *r, clip *c)
{
    enum { POLES = 11 };
    double y[POLES] = {0}, pole[POLES], weight[POLES];
    for (int i = 0; i < POLES; i++) {
        pole[i] = exp(-2 * M_PI * 20 * pow(2, i) / c->rate_hz);
        weight[i] = pow(2, -0.5 * i);
    }
    for (size_t j = 0; j < c->n; j++) {
        double sum = 0, white = chance_bell(r, 1);
        for (int i = 0; i < POLES; i++) {
            y[i] = pole[i] * y[i] + (1 - pole[i]) * white;
            sum += y[i] * weight[i];
        }
        c->samples[j] = sum;
    }
}

static double rms(const clip *c, double least)
{
    double sum = 0;
    size_t n = 0;
    for (size_t j = 0; j < c->n; j++)
        if (fabs(c->samples[j]) > least) {
            sum += c->samples[j] * c->samples[j];
            n++;
        }
    return n ? sqrt(sum / (double)n) : 0;
}

void render_place(const vocalist *v, clip *c, int take)
{
    gsl_rng *r = chance_new(cast_get(v->family, v->woman).name, v->seed, take, "place");
    clip noise = {c->n, c->rate_hz, xcalloc(c->n, sizeof *noise.samples)};
    double voice = rms(c, 1e-5); /* silence between left out */
    if (!v->dry)
        room(v, c);
    pink(r, &noise);
    double gain = voice * pow(10, -v->snr_db / 20) / rms(&noise, -1);
    double hum = isinf(v->hum_db) ? 0 : voice * pow(10, -v->hum_db / 20);
    double phase = chance_in(r, 0, 1);
    for (size_t j = 0; j < c->n; j++) {
        double turns = v->hum_hz * (double)j / c->rate_hz + phase, buzz = 0;
        for (int h = 1; h <= 5 && hum > 0; h++)
            buzz += sin(2 * M_PI * h * turns) / h;
        c->samples[j] += gain * noise.samples[j] + hum * buzz;
    }
    clip_clear(&noise);
    gsl_rng_free(r);
}
