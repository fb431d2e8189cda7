/* SPDX-License-Identifier: GPL-3.0-or-later */
#include "register/steps.h"

#include "base/array.h"
#include "register/covariance.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const double near_s = 0.020, far_s = 0.110, peak_s = 0.080;
static const double winsor_db = 6; /* differences beyond this are cut for the usual scatter */
static const double shrink = 0.3, floor_db2 = 0.05;
/* At a flip into M2 the level falls by 1.5 dB and dips by 1 dB, until four flips say otherwise. */
static const double usual_step_db = -1.5, usual_dip_db = 1, usual_counts = 4;
static const double flips_sd_db = 1.5; /* by which the level differs from flip to flip */
static const double begin_frames = 20; /* the level scatters by 1 dB, until data say otherwise */

/* What the level does at a flip up into M2: how much it steps and dips, and how these scatter where
 * there is none. */
typedef struct level_marks {
    double step_db, dip_db, step_var, dip_var;
} level_marks;

static double cut(double db)
{
    return fmax(-winsor_db, fmin(db, winsor_db));
}

static level_marks learn_levels(const evidence *ev, const double *p2)
{
    double step = usual_counts * usual_step_db, dip = usual_counts * usual_dip_db;
    double flips = usual_counts, n = begin_frames;
    level_marks marks = {.step_var = begin_frames, .dip_var = begin_frames};
    for (size_t i = 0; i < ev->n; i++) {
        double step_db = cut(ev->step_db[i]), dip_db = cut(ev->dip_db[i]);
        if (isnan(ev->step_db[i]) || isnan(ev->dip_db[i]))
            continue;
        marks.step_var += step_db * step_db;
        marks.dip_var += dip_db * dip_db;
        n++;
        if (isinf(ev->gap_s[i]))
            continue;
        double rise = p2[i] - p2[i - 1];
        step += rise * step_db;
        dip += fabs(rise) * dip_db;
        flips += fabs(rise);
    }
    marks.step_db = step / flips;
    marks.dip_db = dip / flips;
    marks.step_var /= n;
    marks.dip_var /= n;
    return marks;
}

/* Log-likelihood ratio of x about `want`, give or take what flips differ by, against x about 0. */
static double ratio_of_one(double x, double want, double variance)
{
    double wide = variance + flips_sd_db * flips_sd_db, y = cut(x);
    if (isnan(x))
        return 0;
    return 0.5 * (y * y / variance - (y - want) * (y - want) / wide - log(wide / variance));
}

/* Mean residual of the frames NEAR..FAR before (way < 0) or after frame i in its stretch; NaN where
 * fewer than half of them have the harmonic. */
static void add_side(const evidence *ev, double (*r)[HARMONICS], long i, int way,
                     double mean[HARMONICS])
{
    int n[HARMONICS] = {0};
    long near = (long)evidence_frames(ev, near_s), far = (long)evidence_frames(ev, far_s);
    memset(mean, 0, HARMONICS * sizeof *mean);
    for (long k = 1; k <= far; k++) {
        long j = way > 0 ? i + k - 1 : i - k;
        if (j < 0 || j >= (long)ev->n || isinf(ev->gap_s[way > 0 ? j : j + 1]))
            break;
        if (k <= near || ev->edge_s[j] < 0)
            continue;
        for (int h = 0; h < HARMONICS; h++)
            if (!isnan(r[j][h])) {
                mean[h] += r[j][h];
                n[h]++;
            }
    }
    for (int h = 0; h < HARMONICS; h++)
        mean[h] = n[h] >= (far - near) / 2 ? mean[h] / n[h] : (double)NAN;
}

/* Differences across every frame, their mean over the harmonics taken out: the gain is free. */
static void differences(const evidence *ev, double (*r)[HARMONICS], double (*d)[HARMONICS])
{
    for (size_t i = 0; i < ev->n; i++) {
        double before[HARMONICS], after[HARMONICS], sum = 0, n = 0;
        add_side(ev, r, (long)i, -1, before);
        add_side(ev, r, (long)i, 1, after);
        for (int h = 0; h < HARMONICS; h++) {
            d[i][h] = after[h] - before[h];
            if (!isnan(d[i][h])) {
                sum += d[i][h];
                n++;
            }
        }
        for (int h = 0; h < HARMONICS; h++)
            d[i][h] -= sum / n;
    }
}

static void usual_scatter(const evidence *ev, double (*d)[HARMONICS],
                          double c[HARMONICS][HARMONICS])
{
    double n[HARMONICS][HARMONICS] = {{0}};
    memset(c, 0, HARMONICS * sizeof *c);
    for (size_t i = 0; i < ev->n; i++) {
        double x[HARMONICS], there[HARMONICS];
        for (int h = 0; h < HARMONICS; h++) {
            there[h] = !isnan(d[i][h]);
            x[h] = isnan(d[i][h]) ? 0 : cut(d[i][h]);
        }
        for (int a = 0; a < HARMONICS; a++)
            for (int b = 0; b < HARMONICS; b++) {
                c[a][b] += x[a] * x[b];
                n[a][b] += there[a] * there[b];
            }
    }
    for (int a = 0; a < HARMONICS; a++)
        for (int b = 0; b < HARMONICS; b++)
            c[a][b] *= (a == b ? 1 : 1 - shrink) / (n[a][b] + 1);
    covariance_mend(&c[0][0], floor_db2);
}

/* The factor of the usual scatter of the harmonics that are there: neighbours mostly have the
 * same. */
typedef struct factor {
    int used[HARMONICS], n; /* n = -1: none */
    double of[HARMONICS * HARMONICS];
} factor;

static bool factor_for(factor *f, const int *used, int n, double c[HARMONICS][HARMONICS])
{
    if (f->n == n && memcmp(f->used, used, (size_t)n * sizeof *used) == 0)
        return true;
    f->n = n;
    memcpy(f->used, used, (size_t)n * sizeof *used);
    for (int a = 0; a < n; a++)
        for (int b = 0; b < n; b++)
            f->of[a * n + b] = c[used[a]][used[b]];
    bool good = covariance_factor(f->of, n);
    if (!good)
        f->n = -1;
    return good;
}

static harmonic_step compare(const double d[HARMONICS], const double step[HARMONICS],
                             double c[HARMONICS][HARMONICS], factor *usual)
{
    double v[HARMONICS], w[HARMONICS], mean_v = 0, mean_w = 0;
    int used[HARMONICS], n = 0;
    for (int h = 0; h < HARMONICS; h++)
        if (!isnan(d[h]))
            used[n++] = h;
    if (n < 3 || !factor_for(usual, used, n, c))
        return (harmonic_step){0, 0, 0};
    for (int a = 0; a < n; a++) {
        mean_v += d[used[a]] / n;
        mean_w += step[used[a]] / n;
    }
    for (int a = 0; a < n; a++) {
        v[a] = d[used[a]] - mean_v;
        w[a] = step[used[a]] - mean_w;
    }
    covariance_whiten(usual->of, n, v);
    covariance_whiten(usual->of, n, w);
    harmonic_step s = {.cross = covariance_dot(v, w, n), .square = covariance_dot(w, w, n)};
    double along = s.square > 0 ? s.cross * s.cross / s.square : 0;
    s.odd = fmax(0, covariance_dot(v, v, n) - along) / (n - 2);
    return s;
}

/* Only the peaks within `reach` frames are kept. */
static void keep_peaks(const double *raw, size_t n, size_t reach, double *out)
{
    for (size_t i = 0; i < n; i++) {
        bool peak = raw[i] > 0;
        for (size_t j = i > reach ? i - reach : 0; peak && j < n && j <= i + reach; j++)
            peak = raw[j] < raw[i] || j == i;
        out[i] = peak ? raw[i] : 0;
    }
}

void steps_of_harmonics(const model *m, const evidence *ev, harmonic_step *out)
{
    double(*r)[HARMONICS] = xmalloc(ev->n, sizeof *r), (*d)[HARMONICS] = xmalloc(ev->n, sizeof *d);
    double scatter[HARMONICS][HARMONICS], step[HARMONICS];
    factor usual = {.n = -1};
    for (size_t i = 0; i < ev->n; i++)
        model_residual(m, ev, i, 0, r[i]);
    differences(ev, r, d);
    usual_scatter(ev, d, scatter);
    for (size_t i = 0; i < ev->n; i++) {
        for (int h = 0; h < HARMONICS; h++)
            step[h] = model_step(m, h, ev->level_db[i]);
        out[i] = compare(d[i], step, scatter, &usual);
    }
    free(r);
    free(d);
}

void steps_measure(const model *m, const evidence *ev, const double *p2, double *up, double *down)
{
    harmonic_step *steps = xmalloc(ev->n, sizeof *steps);
    double *rise = xcalloc(ev->n, sizeof *rise), *fall = xcalloc(ev->n, sizeof *fall);
    level_marks marks = learn_levels(ev, p2);
    steps_of_harmonics(m, ev, steps);
    for (size_t i = 0; i < ev->n; i++) {
        harmonic_step s = steps[i];
        if (s.square <= 0)
            continue;
        double dip = ratio_of_one(ev->dip_db[i], marks.dip_db, marks.dip_var);
        rise[i] = s.cross - 0.5 * s.square + dip +
                  ratio_of_one(ev->step_db[i], marks.step_db, marks.step_var);
        fall[i] = -s.cross - 0.5 * s.square + dip +
                  ratio_of_one(ev->step_db[i], -marks.step_db, marks.step_var);
    }
    keep_peaks(rise, ev->n, evidence_frames(ev, peak_s), up);
    keep_peaks(fall, ev->n, evidence_frames(ev, peak_s), down);
    free(rise);
    free(fall);
    free(steps);
}
