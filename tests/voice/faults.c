/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice/faults.h"

#include "base/array.h"
#include "voice/dice.h"
#include "voice2/render.h"

#include <assert.h>
#include <complex.h>
#include <fftw3.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

static sound first_voice(const char *named, uint64_t seed, int take, int rate_hz)
{
    singer s = singer_draw(family_by_name(named), seed);
    s.rate_hz = rate_hz;
    score sc = score_plan(&s, take % score_count(&s));
    performance p = perform(&s, &sc, take);
    sound x = sing(&s, &p, take);
    performance_clear(&p);
    return x;
}

static sound second_voice(const char *named, uint64_t seed, int take, int rate_hz)
{
    vocalist v = vocalist_draw(cast_by_name(named), seed);
    v.rate_hz = rate_hz;
    chart c = chart_plan(&v, take % chart_count(&v));
    act a = enact(&v, &c, take);
    clip x = render_clean(&v, &a, take);
    act_clear(&a);
    return (sound){.n = x.n, .rate_hz = x.rate_hz, .samples = x.samples};
}

sound fault_free_take(int voice, const char *named, uint64_t seed, int take, int rate_hz)
{
    assert(voice == 1 || voice == 2);
    return voice == 1 ? first_voice(named, seed, take, rate_hz)
                      : second_voice(named, seed, take, rate_hz);
}

static void append(sound *to, const double *x, size_t n)
{
    to->samples = xrealloc(to->samples, to->n + n, sizeof *to->samples);
    for (size_t i = 0; i < n; i++)
        to->samples[to->n + i] = x ? x[i] : 0;
    to->n += n;
}

sound fault_free_session(int voice, const char *named, uint64_t seed, int n, double seconds,
                         double noise_db, int rate_hz)
{
    size_t pause = (size_t)(seconds * rate_hz);
    sound all = {.n = 0, .rate_hz = rate_hz};
    append(&all, NULL, pause);
    for (int i = 0; i < n; i++) {
        sound x = fault_free_take(voice, named, seed, i, rate_hz);
        append(&all, x.samples, x.n);
        append(&all, NULL, pause);
        sound_clear(&x);
    }
    fault_noise(&all, sound_rms(&all) * pow(10, -noise_db / 20), seed);
    return all;
}

double fault_peak(const sound *x)
{
    double peak = 0;
    for (size_t i = 0; i < x->n; i++)
        peak = fmax(peak, fabs(x->samples[i]));
    return peak;
}

void fault_clip(sound *x, double db)
{
    double most = fault_peak(x) * pow(10, -db / 20);
    for (size_t i = 0; i < x->n; i++)
        x->samples[i] = fmax(-most, fmin(most, x->samples[i]));
}

void fault_squash(sound *x, double drive)
{
    double peak = fault_peak(x);
    for (size_t i = 0; i < x->n; i++)
        x->samples[i] = tanh(drive * x->samples[i] / peak) / drive * peak;
}

void fault_dc(sound *x, double share)
{
    for (size_t i = 0; i < x->n; i++)
        x->samples[i] += share;
}

/* Half of the power white, half of it below 200 Hz. */
void fault_noise(sound *x, double rms, uint64_t seed)
{
    gsl_rng *r = dice_new(seed, 77, DICE_ROOM);
    double low = 0, pole = exp(-2 * M_PI * 200 / x->rate_hz);
    for (size_t i = 0; i < x->n; i++) {
        double white = dice_normal(r, 1);
        low = pole * low + sqrt(1 - pole * pole) * white;
        x->samples[i] += rms * M_SQRT1_2 * (low + dice_normal(r, 1));
    }
    gsl_rng_free(r);
}

void fault_hum(sound *x, double hz, double rms)
{
    double size = rms * M_SQRT2 / sqrt(1.25);
    for (size_t i = 0; i < x->n; i++) {
        double angle = 2 * M_PI * hz * (double)i / x->rate_hz;
        x->samples[i] += size * (sin(angle) + 0.5 * sin(3 * angle + 1));
    }
}

void fault_holes(sound *x, int n, double span_s)
{
    size_t span = (size_t)(span_s * x->rate_hz);
    for (int k = 0; k < n; k++) {
        size_t at = (size_t)((k + 0.5) / n * (double)x->n);
        for (size_t i = at; i < at + span && i < x->n; i++)
            x->samples[i] = 0;
    }
}

void fault_splices(sound *x, int n, double span_s)
{
    size_t span = (size_t)(span_s * x->rate_hz);
    for (int k = 0; k < n; k++) {
        size_t at = (size_t)((k + 0.5) / n * (double)x->n);
        if (at + span >= x->n)
            return;
        memmove(x->samples + at, x->samples + at + span, (x->n - at - span) * sizeof *x->samples);
        x->n -= span;
    }
}

/* x convolved with h, or with the low-pass at lowpass_hz where h is NULL. */
static void filter(sound *x, const double *h, size_t n_h, double lowpass_hz)
{
    size_t m = 1;
    while (m < x->n + n_h)
        m *= 2;
    float *a = fftwf_alloc_real(m), *b = fftwf_alloc_real(m);
    fftwf_complex *fa = fftwf_alloc_complex(m), *fb = fftwf_alloc_complex(m);
    fftwf_plan forth = fftwf_plan_dft_r2c_1d((int)m, a, fa, FFTW_ESTIMATE);
    fftwf_plan back = fftwf_plan_dft_c2r_1d((int)m, fa, a, FFTW_ESTIMATE);
    for (size_t i = 0; i < m; i++) {
        a[i] = i < x->n ? (float)x->samples[i] : 0;
        b[i] = h && i < n_h ? (float)h[i] : 0;
    }
    fftwf_execute(forth);
    fftwf_execute_dft_r2c(forth, b, fb);
    for (size_t i = 0; i <= m / 2; i++)
        fa[i] *= h ? fb[i] : (double)i * x->rate_hz / (double)m > lowpass_hz ? 0 : 1;
    fftwf_execute(back);
    for (size_t i = 0; i < x->n; i++)
        x->samples[i] = (double)a[i] / (double)m;
    fftwf_destroy_plan(forth);
    fftwf_destroy_plan(back);
    fftwf_free(a);
    fftwf_free(b);
    fftwf_free(fa);
    fftwf_free(fb);
}

void fault_lowpass(sound *x, double hz)
{
    filter(x, NULL, 0, hz);
}

void fault_gain(sound *x, double strength, double release_s, double most_db)
{
    double loud_db = 20 * log10(sound_rms(x)), power = 0, gain_db = most_db;
    double follow = -expm1(-1 / (0.02 * x->rate_hz));
    double release_db = most_db / (release_s * x->rate_hz);
    for (size_t i = 0; i < x->n; i++) {
        power += follow * (x->samples[i] * x->samples[i] - power);
        double want = strength * (loud_db - 10 * log10(power + 1e-20));
        want = fmax(0, fmin(most_db, want));
        gain_db = want < gain_db ? want : fmin(want, gain_db + release_db);
        x->samples[i] *= pow(10, (gain_db - most_db) / 20);
    }
}

void fault_room(sound *x, double rt60_s, double direct_db, uint64_t seed)
{
    gsl_rng *r = dice_new(seed, 78, DICE_ROOM);
    size_t n = (size_t)(1.2 * rt60_s * x->rate_hz), first = (size_t)(0.005 * x->rate_hz);
    double *h = xcalloc(n, sizeof *h), energy = 0;
    for (size_t i = first; i < n; i++) {
        h[i] = dice_normal(r, 1) * exp(-3 * M_LN10 * (double)i / x->rate_hz / rt60_s);
        energy += h[i] * h[i];
    }
    for (size_t i = first; i < n; i++)
        h[i] *= pow(10, -direct_db / 20) / sqrt(energy);
    h[0] = 1;
    filter(x, h, n, 0);
    free(h);
    gsl_rng_free(r);
}

void fault_other(sound *x, const sound *y, double db)
{
    assert(x->rate_hz == y->rate_hz);
    double scale = sound_rms(x) / sound_rms(y) * pow(10, db / 20);
    for (size_t i = 0; i < x->n && i < y->n; i++)
        x->samples[i] += scale * y->samples[i];
}
