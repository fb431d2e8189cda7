/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "voice3/reel.h"

#include "base/array.h"
#include "voice/files.h"
#include "voice3/tubes.h"

#include <assert.h>
#include <gsl/gsl_randist.h>
#include <math.h>
#include <sndfile.h>
#include <soxr.h>
#include <stdlib.h>

#define FAST_S 0.02 /* correlation of the tension's noise, from cycle to cycle and slower */
#define SLOW_S 0.4
#define FAST_SHARE 0.004
#define SLOW_SHARE 0.006
#define STILL_REYNOLDS 1200.0 /* turbulence sets in */
#define HISS_PA 1.5e-6        /* for each square of Reynolds' number beyond */
#define VISCOSITY 1.6e-5      /* m2/s */
#define PEAK 0.5              /* of a singer's loudest take */
#define NOISE_DB (-62.0)      /* of the microphone, re that peak */
#define HOP_S 0.005
#define WINDOW_S 0.05

enum { GESTURE = 0, TENSION = 1, BREATH = 2, ROOM = 3 }; /* purposes of draws */

/* Noise with a memory (an Ornstein-Uhlenbeck process of standard deviation 1). */
static double remember(gsl_rng *r, double *state, double memory_s)
{
    double keep = exp(-1 / (TUBES_RATE_HZ * memory_s));
    *state = keep * *state + sqrt(1 - keep * keep) * gsl_ran_gaussian_ziggurat(r, 1);
    return *state;
}

static void to_rate(const double *fast, size_t n_fast, reel *out)
{
    size_t done = 0;
    out->n = (size_t)((double)n_fast * REEL_RATE_HZ / TUBES_RATE_HZ);
    out->samples = xcalloc(out->n, sizeof *out->samples);
    soxr_io_spec_t io = soxr_io_spec(SOXR_FLOAT64_I, SOXR_FLOAT64_I);
    soxr_quality_spec_t quality = soxr_quality_spec(SOXR_HQ, 0);
    soxr_error_t failed = soxr_oneshot(TUBES_RATE_HZ, REEL_RATE_HZ, 1, fast, n_fast, NULL,
                                       out->samples, out->n, &done, &io, &quality, NULL);
    assert(!failed);
    (void)failed;
}

reel reel_follow(ensemble_singer s, uint64_t seed, int take, const gesture *g)
{
    const ensemble_row *row = ensemble_get(s);
    gsl_rng *shake = ensemble_draws(s, seed, take, TENSION);
    gsl_rng *breath = ensemble_draws(s, seed, take, BREATH);
    tubes t =
        tubes_rest(row->tract_m, row->windpipe_m, row->area_cm2, ENSEMBLE_VOWEL, row->coupled);
    cover_state state = {.x_m = {1e-5}};
    size_t n = (size_t)(g->seconds * TUBES_RATE_HZ);
    reel out = {.folds = {.n = n, .rate_hz = TUBES_RATE_HZ}};
    out.folds.area_m2 = xcalloc(n, sizeof *out.folds.area_m2);
    out.folds.contact = xcalloc(n, sizeof *out.folds.contact);
    double *heard = xcalloc(n, sizeof *heard), fast = 0, slow = 0, flow = 0;
    for (size_t i = 0; i < n; i++) {
        double tension, pressure;
        gesture_at(g, (double)i / TUBES_RATE_HZ, &tension, &pressure);
        tension *= exp(FAST_SHARE * remember(shake, &fast, FAST_S) +
                       SLOW_SHARE * remember(shake, &slow, SLOW_S));
        cover_gaps gaps = cover_measure(&row->folds, &state, tension);
        double reynolds = 2 * flow / (VISCOSITY * COVER_LENGTH_M);
        double rough = fmax(reynolds * reynolds - STILL_REYNOLDS * STILL_REYNOLDS, 0);
        double hiss = HISS_PA * rough * gsl_ran_gaussian_ziggurat(breath, 1);
        tubes_air air = tubes_step(&t, gaps.jet_m2, pressure, hiss);
        cover_step(&row->folds, &state, &gaps, tension, air.below_pa, air.above_pa,
                   1 / TUBES_RATE_HZ);
        flow = air.flow_m3_s;
        heard[i] = air.heard;
        out.folds.area_m2[i] = (float)gaps.area_m2;
        out.folds.contact[i] = (float)gaps.contact;
    }
    to_rate(heard, n, &out);
    free(heard);
    gsl_rng_free(shake);
    gsl_rng_free(breath);
    return out;
}

reel reel_sing(ensemble_singer s, uint64_t seed, int take)
{
    gesture g = ensemble_gesture(s, seed, take);
    return reel_follow(s, seed, take, &g);
}

void reel_clear(reel *r)
{
    free(r->samples);
    free(r->folds.area_m2);
    free(r->folds.contact);
    *r = (reel){0};
}

/* RMS (dB re full scale) over a Hann window. */
static double level_db(const reel *r, double t_s)
{
    double centre = t_s * REEL_RATE_HZ, half = WINDOW_S * REEL_RATE_HZ / 2, sum = 0, weights = 0;
    for (long i = lround(centre - half); i <= lround(centre + half); i++) {
        double w = 1 + cos(M_PI * ((double)i - centre) / half);
        double x = i >= 0 && (size_t)i < r->n ? r->samples[i] : 0;
        sum += w * x * x;
        weights += w;
    }
    return 10 * log10(sum / weights);
}

typedef struct tables {
    FILE *takes, *frames, *flips, *boundary;
    double st[2], db[2], flips_n[2]; /* sums over the flips down and up */
} tables;

static void truth_write(tables *t, const char *name, const reel *r, double bound)
{
    periods p = periods_measure(&r->folds, bound);
    for (size_t k = 0; (double)k * HOP_S * REEL_RATE_HZ < (double)r->n; k++) {
        double at = (double)k * HOP_S, pitch;
        int reg = periods_at(&p, at, &pitch);
        if (reg)
            fprintf(t->frames, "%s\t%.3f\t%.4f\t%.3f\t%d\n", name, at, pitch, level_db(r, at), reg);
        else
            fprintf(t->frames, "%s\t%.3f\t\t-inf\t0\n", name, at);
    }
    for (size_t i = 0; i < p.n_changes; i++) {
        const change *c = &p.changes[i];
        if (!c->sudden)
            continue;
        double level = level_db(r, c->time_s - c->span_ms / 2000 - WINDOW_S / 2);
        fprintf(t->flips, "%s\t%.4f\t%s\t%.1f\t%.3f\t%.3f\t%.2f\n", name, c->time_s,
                c->up ? "up" : "down", c->span_ms, c->after_st - c->before_st, c->before_st, level);
        t->st[c->up] += c->before_st;
        t->db[c->up] += level;
        t->flips_n[c->up]++;
    }
    periods_clear(&p);
}

static bool wav_write(const char *path, const reel *r, gsl_rng *noise, err *e)
{
    double *all = xmalloc(r->n, sizeof *all), sd = PEAK * pow(10, NOISE_DB / 20);
    for (size_t i = 0; i < r->n; i++)
        all[i] = r->samples[i] + gsl_ran_gaussian_ziggurat(noise, sd);
    SF_INFO info = {
        .samplerate = (int)REEL_RATE_HZ, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    sf_count_t written = file ? sf_writef_double(file, all, (sf_count_t)r->n) : 0;
    free(all);
    if (!file)
        return err_set(e, "%s could not be written: %s.", path, sf_strerror(NULL));
    if (sf_close(file) != 0 || written != (sf_count_t)r->n)
        return err_set(e, "%s could not be written whole.", path);
    return true;
}

static void scale(reel r[ENSEMBLE_TAKES])
{
    double most = 0;
    for (int k = 0; k < ENSEMBLE_TAKES; k++)
        for (size_t i = 0; i < r[k].n; i++)
            most = fmax(most, fabs(r[k].samples[i]));
    for (int k = 0; k < ENSEMBLE_TAKES; k++)
        for (size_t i = 0; i < r[k].n; i++)
            r[k].samples[i] *= PEAK / most;
}

static void boundary_write(const tables *t)
{
    double down = t->st[0] / t->flips_n[0], up = t->st[1] / t->flips_n[1];
    double level = (t->db[0] + t->db[1]) / (t->flips_n[0] + t->flips_n[1]);
    fprintf(t->boundary, "up_st\t%.4f\ndown_st\t%.4f\nslope\t0\nlevel_db\t%.3f\n", up, down, level);
}

static bool tables_open(const char *folder, tables *t, err *e)
{
    if (!files_create(folder, "takes.tsv", &t->takes, e) ||
        !files_create(folder, "frames.tsv", &t->frames, e) ||
        !files_create(folder, "flips.tsv", &t->flips, e) ||
        !files_create(folder, "boundary.tsv", &t->boundary, e))
        return false;
    fputs("take\tkind\n", t->takes);
    fputs("take\ttime_s\tpitch_st\tlevel_db\tregister\n", t->frames);
    fputs("take\ttime_s\tdirection\tspan_ms\tleap_st\tpitch_before_st\tlevel_db\n", t->flips);
    fputs("parameter\tvalue\n", t->boundary);
    return true;
}

bool reel_write(ensemble_singer s, uint64_t seed, const char *folder, err *e)
{
    reel r[ENSEMBLE_TAKES];
    for (int take = 0; take < ENSEMBLE_TAKES; take++)
        r[take] = reel_sing(s, seed, take);
    scale(r);
    tables t = {0};
    bool ok = files_folder(folder, e) && tables_open(folder, &t, e);
    for (int take = 0; take < ENSEMBLE_TAKES; take++) {
        char *name = xformat("take-%02d.wav", take), *path = xformat("%s/%s", folder, name);
        gsl_rng *noise = ensemble_draws(s, seed, take, ROOM);
        ok = ok && wav_write(path, &r[take], noise, e);
        if (ok) {
            fprintf(t.takes, "%s\t%s\n", name, ensemble_gesture(s, seed, take).kind);
            truth_write(&t, name, &r[take], ensemble_get(s)->contact);
        }
        gsl_rng_free(noise);
        free(path);
        free(name);
        reel_clear(&r[take]);
    }
    if (ok)
        boundary_write(&t);
    FILE *all[] = {t.takes, t.frames, t.flips, t.boundary};
    for (size_t i = 0; i < 4; i++)
        if (all[i] && fclose(all[i]) != 0)
            ok = err_set(e, "The truth in %s could not be written whole.", folder);
    return ok;
}
