/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/sing.h"

#include "base/array.h"
#include "voice/dice.h"

#include <complex.h>
#include <fftw3.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

/* Impulse response: the direct sound, a few early reflections, and a decaying noise tail. All that
 * is reflected has direct_db less energy than the direct sound; together they leave the voice its
 * level, on the whole, though not at each pitch. */
static double *response(const singer *s, size_t *n)
{
    gsl_rng *r = dice_new(s->seed, 0, DICE_ROOM);
    *n = (size_t)(s->rt60_s * s->rate_hz);
    double *h = xcalloc(*n, sizeof *h), energy = 0, low = 0;
    for (size_t i = (size_t)(0.012 * s->rate_hz); i < *n; i++) {
        double t = (double)i / s->rate_hz;
        low += 0.5 * (dice_normal(r, 1) - low); /* walls take the highs first */
        h[i] = low * exp(-3 * M_LN10 * t / s->rt60_s);
    }
    for (size_t i = 0; i < *n; i++)
        energy += h[i] * h[i];
    int early = dice_whole(r, 4, 8);
    for (int i = 0; i < early; i++) {
        double t = dice_between(r, 0.002, 0.03);
        double size = sqrt(energy / early) * dice_between(r, 0.3, 1) * exp(-t / 0.03);
        h[(size_t)(t * s->rate_hz)] += dice_chance(r, 0.7) ? size : -size;
    }
    energy = 0;
    for (size_t i = 0; i < *n; i++)
        energy += h[i] * h[i];
    double reflected = pow(10, -s->direct_db / 10), scale = sqrt(reflected / energy);
    for (size_t i = 0; i < *n; i++)
        h[i] *= scale / sqrt(1 + reflected);
    h[0] = 1 / sqrt(1 + reflected);
    gsl_rng_free(r);
    return h;
}

static size_t power_of_two(size_t n)
{
    size_t m = 1;
    while (m < n)
        m *= 2;
    return m;
}

static void convolve(double *x, size_t n, const double *h, size_t n_h)
{
    size_t m = power_of_two(n + n_h), bins = m / 2 + 1;
    float *a = fftwf_alloc_real(m), *b = fftwf_alloc_real(m);
    fftwf_complex *fa = fftwf_alloc_complex(bins), *fb = fftwf_alloc_complex(bins);
    fftwf_plan forth = fftwf_plan_dft_r2c_1d((int)m, a, fa, FFTW_ESTIMATE);
    fftwf_plan back = fftwf_plan_dft_c2r_1d((int)m, fa, a, FFTW_ESTIMATE);
    for (size_t i = 0; i < m; i++) {
        a[i] = i < n ? (float)x[i] : 0;
        b[i] = i < n_h ? (float)h[i] : 0;
    }
    fftwf_execute(forth);
    fftwf_execute_dft_r2c(forth, b, fb);
    for (size_t i = 0; i < bins; i++)
        fa[i] *= fb[i];
    fftwf_execute(back);
    for (size_t i = 0; i < n; i++)
        x[i] = (double)a[i] / (double)m;
    fftwf_destroy_plan(forth);
    fftwf_destroy_plan(back);
    fftwf_free(a);
    fftwf_free(b);
    fftwf_free(fa);
    fftwf_free(fb);
}

/* Noise of RMS 1 whose power falls by `slope` times 10 dB a decade from 20 Hz on. */
static void coloured(gsl_rng *r, double *x, size_t n, double rate_hz, double slope)
{
    size_t m = power_of_two(n), bins = m / 2 + 1;
    float *a = fftwf_alloc_real(m);
    fftwf_complex *f = fftwf_alloc_complex(bins);
    fftwf_plan back = fftwf_plan_dft_c2r_1d((int)m, f, a, FFTW_ESTIMATE);
    for (size_t i = 0; i < bins; i++) {
        double hz = (double)i * rate_hz / (double)m;
        double size = hz < 20 ? 0 : pow(hz / 1000, -slope / 2);
        double re = dice_normal(r, size), im = dice_normal(r, size);
        f[i] = (float)re + (float)im * I;
    }
    fftwf_execute(back);
    double sum = 0;
    for (size_t i = 0; i < n; i++)
        sum += (double)a[i] * (double)a[i];
    for (size_t i = 0; i < n; i++)
        x[i] = (double)a[i] / sqrt(sum / (double)n);
    fftwf_destroy_plan(back);
    fftwf_free(a);
    fftwf_free(f);
}

double sound_rms(const sound *x)
{
    size_t block = (size_t)(x->rate_hz / 50), blocks = x->n / block, used = 0;
    double *power = xcalloc(blocks, sizeof *power), most = 0, sum = 0;
    for (size_t b = 0; b < blocks; b++) {
        for (size_t i = 0; i < block; i++)
            power[b] += x->samples[b * block + i] * x->samples[b * block + i] / (double)block;
        most = fmax(most, power[b]);
    }
    for (size_t b = 0; b < blocks; b++)
        if (power[b] > most / 100) {
            sum += power[b];
            used++;
        }
    free(power);
    return used ? sqrt(sum / (double)used) : 0;
}

void sing_in_place(const singer *s, sound *clean, int take)
{
    gsl_rng *r = dice_new(s->seed, (uint64_t)take + 1, DICE_ROOM);
    double noise = sound_rms(clean) * pow(10, -s->snr_db / 20);
    if (!s->dry) {
        size_t n_h;
        double *h = response(s, &n_h);
        convolve(clean->samples, clean->n, h, n_h);
        free(h);
    }
    double *x = xmalloc(clean->n, sizeof *x);
    coloured(r, x, clean->n, s->rate_hz, dice_between(r, 0.3, 1.2));
    double hum = dice_chance(r, 0.3) ? dice_between(r, 0, 0.5) : 0, mains = 100 * M_PI;
    for (size_t i = 0; i < clean->n; i++) {
        double t = (double)i / s->rate_hz;
        double buzz = hum * (sin(mains * t) + 0.4 * sin(3 * mains * t));
        clean->samples[i] += noise * (x[i] + buzz) / sqrt(1 + 0.58 * hum * hum);
    }
    free(x);
    gsl_rng_free(r);
}
